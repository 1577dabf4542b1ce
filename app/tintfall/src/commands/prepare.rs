//! `tintfall prepare`.

use std::path::PathBuf;

use package::{FILES, Prepared, prepare_woven};
use project::job::Job;
use report::amount::amount;

use super::sliced::Sliced;
use crate::console::Console;
use crate::fault::Fault;

pub(super) use crate::causes::{not_opened, not_prepared, not_signed, opened, required};

/// Write a plan's schedule, sheet, review page and summary into a folder
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall prepare lighthouse.plan.ron --out lighthouse
  tintfall prepare lighthouse.plan.ron --toolpath lighthouse.gcode --out lighthouse
  tintfall prepare lamp-shade.plan.ron --record seen --out lamp-shade

All files appear together at the end. If you cancel with Ctrl-C, or a file can't be written,
nothing is left behind and the folder stays as it was.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// The folder to write into; created if it does not exist
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Write the summary to standard output as JSON
    #[arg(long)]
    json: bool,
    /// Refuse unless the plan is signed and approved as it is now
    #[arg(long)]
    require_review: bool,
    /// Show what came out on the review page: a folder that `tintfall seen` wrote; repeat it for
    /// several prints
    #[arg(long, value_name = "DIR")]
    record: Vec<PathBuf>,
    #[command(flatten)]
    sliced: Sliced,
}

impl Args {
    /// Prepares the plan.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let prepared = console.working(|progress| {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            if self.require_review {
                required(&job)?;
            }
            let records = opened(&self.record)?;
            let laid = self.sliced.laid(&job, progress)?;
            let (laid, woven) = match &laid {
                Some(counted) => (Some(&counted.laid), counted.woven.as_ref()),
                None => (None, None),
            };
            prepare_woven(&job, laid, woven, &records, &self.out, progress)
                .map_err(|error| not_prepared(&self.plan, error))
        })?;
        for note in prepared.summary.told() {
            console.note(&format!("Note: {note}"));
        }
        warned(console, &self.record, &prepared.records);
        match self.json {
            true => {
                let text =
                    serde_json::to_string_pretty(&prepared.summary).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&self.out, &prepared)),
        }
    }
}

/// Says which records are of another state of the plan.
pub(super) fn warned(console: &Console, folders: &[PathBuf], warnings: &[Option<String>]) {
    for (folder, warning) in folders.iter().zip(warnings) {
        if let Some(warning) = warning {
            console.note(&format!("Warning: {}: {warning}", folder.display()));
        }
    }
}

/// What was written, and its totals.
fn told(folder: &std::path::Path, prepared: &Prepared) -> String {
    let totals = &prepared.summary.totals;
    let mut text = format!(
        "Wrote into {}\n{}\n",
        folder.display(),
        prepared.summary.provenance.review
    );
    for (name, what) in FILES {
        text.push_str(&format!("  {name:16}{what}\n"));
    }
    let mass_g: f64 = totals.spools.iter().map(|s| s.mass_g).sum();
    text.push_str(&format!(
        "{} layers, {} g of plastic, {} blend changes\n",
        totals.layers,
        amount(mass_g),
        totals.blend_changes
    ));
    for spool in &totals.spools {
        text.push_str(&format!(
            "  {:>8} g {:>8} m  {}\n",
            amount(spool.mass_g),
            amount(spool.length_m),
            spool.name
        ));
    }
    for line in prepared.summary.as_printed.lines() {
        text.push_str(&format!("{line}\n"));
    }
    text.push_str("Read `tintfall cautions` before you print.\n");
    text
}
