//! `tintfall handoff`.

use std::path::PathBuf;

use package::bundle::{BundleError, HandedOff, hand_off};
use project::job::Job;

use super::prepare::{not_opened, not_prepared, opened, required, warned};
use crate::console::Console;
use crate::fault::Fault;

/// Export everything that the print step needs as one folder or ZIP file, with a manifest
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall handoff lighthouse.plan.ron --out lighthouse-handoff
  tintfall handoff lighthouse.plan.ron --out lighthouse.zip --require-review
  tintfall handoff lamp-shade.plan.ron --record seen --out lamp-shade.zip

It holds schedules, sheet, review page, 3MF, glTF, PLY and a table to key in. It also has the plan
with its mesh, spools, machine and signatures. The receiver runs `tintfall check-handoff`.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// The folder, or the file if its name ends in .zip; a hand-off with that name is replaced
    #[arg(long, value_name = "DIR|FILE.zip")]
    out: PathBuf,
    /// Refuse unless the plan is signed and approved as it is now
    #[arg(long)]
    require_review: bool,
    /// Also hand over what was seen of a print: a folder that `tintfall seen` wrote; repeat it for
    /// several prints
    #[arg(long, value_name = "DIR")]
    record: Vec<PathBuf>,
    /// Write the manifest to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Makes the hand-off.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let done = console.working(|progress| {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            if self.require_review {
                required(&job)?;
            }
            let records = opened(&self.record)?;
            hand_off(&job, &records, &self.out, progress).map_err(|error| match error {
                BundleError::Prepare(error) => not_prepared(&self.plan, error),
                error @ (BundleError::Outside { .. } | BundleError::TooMany(_)) => {
                    Fault::input(error)
                }
                BundleError::Write(error) if error.doing == "write the hand-off to" => {
                    Fault::input(error)
                }
                BundleError::Write(error) => error.into(),
                BundleError::Cancelled(_) => Fault::Cancelled,
                error => Fault::system(error),
            })
        })?;
        warned(console, &self.record, &done.records);
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&done.manifest).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&done)),
        }
    }
}

fn told(done: &HandedOff) -> String {
    let path = done.path.display();
    let manifest = &done.manifest;
    let mut text = format!("Wrote {path}\n{}\n", manifest.review.words());
    for entry in &manifest.files {
        let kib = entry.bytes.div_ceil(1024);
        text.push_str(&format!(
            "  {kib:>7} KiB  {:28}{}\n",
            entry.name, entry.what
        ));
    }
    text.push_str(&format!(
        "The receiver runs: tintfall check-handoff {path}\n\
         Read `tintfall cautions` before you print.\n"
    ));
    text
}
