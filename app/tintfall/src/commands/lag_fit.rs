//! `tintfall lag-fit`.

use std::path::{Path, PathBuf};

use calibrate::observations::{read_lag, with_chamber};
use plan::lag_fit::{LagFit, Unit};
use plan::machine::Chamber;
use project::write;

use super::swatch::text_of;
use super::watch::Worked;
use crate::console::Console;
use crate::fault::Fault;

/// Fit the melt chamber to the readings of a lag test, and write the machine file
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall lag-fit lag/lag-test.plan.ron lag/ends.csv --out machine.ron

READINGS has the columns change, begins_mm and ends_mm, or height_mm and l, a, b or hex. Any plan
that was printed solid works, if its changes are far enough apart. Then write
machine: \"machine.ron\" in your plans.")]
pub(crate) struct Args {
    /// The plan that was printed
    plan: PathBuf,
    /// The table of readings
    readings: PathBuf,
    /// The machine file to write: the plan's machine with the fitted chamber
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Tanks in a row, in place of the plan's machine; more make a sharper change
    #[arg(long, value_name = "COUNT")]
    tanks: Option<usize>,
    /// Write the fit to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Fits, and writes the machine file.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        if let Some(tanks) = self.tanks
            && !(1..=Chamber::MOST_TANKS).contains(&tanks)
        {
            return Err(Fault::Input(format!(
                "--tanks {tanks}: give 1 to {} tanks",
                Chamber::MOST_TANKS
            )));
        }
        let path = self.readings.display();
        let readings = read_lag(&text_of(&self.readings)?)
            .map_err(|e| Fault::Input(format!("{path}: {e}")))?;
        let (machine, fit) = console.working(|progress| -> Result<_, Fault> {
            let worked = Worked::open(&self.plan, progress)?;
            let painted = &worked.job.painted;
            let mut plan = painted.plan().clone();
            if let Some(tanks) = self.tanks {
                plan.machine.chamber.tanks = tanks;
            }
            progress.stage("Fitting");
            let (model, schedule, printed) = (painted.model(), &worked.schedule, &worked.printed);
            let fit = readings.fit(&plan, model, schedule, printed);
            let fit = fit.map_err(|e| Fault::Input(format!("{path}: {e}")))?;
            Ok((plan.machine.value.clone(), fit))
        })?;
        let before = machine.chamber;
        let machine = with_chamber(&machine, &fit);
        let text = machine.to_ron().map_err(Fault::system)?;
        write::bytes(&self.out, text.as_bytes())?;
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&fit).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&self.out, &before, &fit)),
        }
    }
}

fn told(out: &Path, before: &Chamber, fit: &LagFit) -> String {
    let chamber = &fit.chamber;
    let unit = match fit.unit {
        Unit::De00 => "ΔE00",
        Unit::Mm => "mm",
    };
    let tanks = match chamber.tanks {
        1 => "one stirred tank".to_owned(),
        n => format!("{n} tanks in a row"),
    };
    let warnings: String = fit
        .warnings
        .iter()
        .map(|w| format!("Note: {w}.\n"))
        .collect();
    format!(
        "Dead volume   {:7.1} ± {:.1} mm³   (before {:.1})\n\
         Mixed volume  {:7.1} ± {:.1} mm³   (before {:.1}), {tanks}\n\
         Lag           {:7.1} ± {:.1} mm³\n\
         {} readings are off by {:.2} {unit} (RMS), with the old chamber by {:.2} {unit}\n\
         ± is one standard error.\n\
         {warnings}Wrote {}; in a plan beside it write machine: \"{}\"\n",
        chamber.dead_mm3,
        fit.dead_error_mm3,
        before.dead_mm3,
        chamber.mixed_mm3,
        fit.mixed_error_mm3,
        before.mixed_mm3,
        chamber.lag_mm3(),
        fit.lag_error_mm3,
        fit.readings,
        fit.misfit,
        fit.misfit_before,
        out.display(),
        out.file_name().unwrap_or_default().to_string_lossy()
    )
}
