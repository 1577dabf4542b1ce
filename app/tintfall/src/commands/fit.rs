//! `tintfall fit`.

use std::path::{Path, PathBuf};

use blend::calibrate::MeasuredSpools;
use blend::mix::Mixing;
use calibrate::table::Drawn;
use plan::ron_text;
use project::write;

use super::prepare::not_opened;
use crate::console::Console;
use crate::fault::Fault;

/// Fit the mixing model to a measured test print, and write the measured spools
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall fit swatch/measured.csv --out pair.ron

MEASURED is a table with the columns step, share_1, share_2 …, and l, a, b (CIELAB, D65, 2°)
or hex; docs/calibration.md explains them all. Then write spools: \"pair.ron\" in a plan.")]
pub(crate) struct Args {
    /// The table of readings
    measured: PathBuf,
    /// The file of spools, in place of the one that the table names
    #[arg(long, value_name = "FILE")]
    spools: Option<PathBuf>,
    /// The file of measured spools to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write the result to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Fits, and reports how well.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let fit = console
            .working(|p| calibrate::fit(&self.measured, self.spools.as_deref(), p))
            .map_err(not_opened)?;
        let (fitted, drawn) = (fit.measured, fit.drawn);
        let document = ron_text::write(&fitted).map_err(Fault::system)?;
        write::bytes(&self.out, document.as_bytes())?;
        for warning in &fitted.warnings {
            console.note(&format!("Warning: {warning}"));
        }
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&fitted).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&self.out, &fitted, &drawn)),
        }
    }
}

fn told(out: &Path, fitted: &MeasuredSpools, drawn: &Drawn) -> String {
    let mut text = String::from("step  shares          measured  predicted   ΔE00  left out*\n");
    for (number, result) in drawn.numbers.iter().zip(&fitted.steps) {
        let without = match result.leave_one_out_delta_e00 {
            Some(delta) => format!("{delta:.2}"),
            None => "-".to_owned(),
        };
        let mark = if result.left_out { "  not used" } else { "" };
        text.push_str(&format!(
            "{number:>4}  {:14}  {:8}  {:9}  {:>5.2}  {without:>5}{mark}\n",
            result.step.shares.to_string(),
            result.measured.to_xyz().to_srgb().to_string(),
            result.predicted.to_xyz().to_srgb().to_string(),
            result.delta_e00,
        ));
    }
    text.push_str("* predicted from a fit to the other steps\n");
    if !drawn.unread.is_empty() {
        let list: Vec<String> = drawn.unread.iter().map(usize::to_string).collect();
        text.push_str(&format!(
            "No reading for step {}; warnings count only steps that have one.\n",
            list.join(", ")
        ));
    }
    text.push_str(&ways(fitted));
    text.push_str(&format!(
        "\nMisfit of the mixed steps, RMS: {:.2} ΔE00",
        fitted.rms_delta_e00
    ));
    if let Some(rms) = fitted.leave_one_out_rms_delta_e00 {
        text.push_str(&format!("; each step predicted from the others: {rms:.2}"));
    }
    text.push_str(&format!(
        "; plain linear light: {:.2}\n",
        fitted.linear_light_rms_delta_e00
    ));
    text.push_str(&format!(
        "A blend that you did not measure is off by {:.2} more than the scatter of readings \
         explains{}\n",
        fitted.model_rms_delta_e00,
        match fitted.reading_rms_delta_e00 {
            Some(rms) => format!("; one reading scatters by {rms:.2}"),
            None => String::new(),
        }
    ));
    let strengths = fitted.strengths.iter().zip(&fitted.strength_errors);
    let of = match fitted.mixing {
        Mixing::SideBySide { .. } => "Covering",
        Mixing::Stirred | Mixing::PartlyStirred { .. } => "Tinting",
    };
    for (spool, (strength, error)) in fitted.spools.iter().zip(strengths) {
        text.push_str(&format!(
            "{of} strength {strength:6.3} ± {:4.1} %  {}\n",
            error * 100.0,
            spool.name
        ));
    }
    text.push_str(&format!(
        "Surface (Saunderson): k1 {:.3}, k2 {:.3}\n\
         Wrote {}; in a plan beside it write spools: \"{}\"\n",
        fitted.surface.k1(),
        fitted.surface.k2(),
        out.display(),
        out.file_name().unwrap_or_default().to_string_lossy()
    ));
    text
}

/// How the spools mix, and which other models were tried.
fn ways(fitted: &MeasuredSpools) -> String {
    let mut text = format!("\nHow the spools mix: {}\n", fitted.mixing);
    for tried in &fitted.tried {
        text.push_str(&format!(
            "  {:5.2} ΔE00 from left-out steps if {}\n",
            tried.leave_one_out_rms_delta_e00, tried.mixing
        ));
    }
    text
}
