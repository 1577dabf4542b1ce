//! `tintfall check-handoff`.

use std::path::PathBuf;

use package::bundle::{CheckError, Report, check};

use crate::console::Console;
use crate::fault::Fault;

/// Check a hand-off: every file against the manifest, and everything against the plan
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall check-handoff lighthouse-handoff
  tintfall check-handoff lighthouse.zip --require-review

The exit code is 2 if anything has changed since the export.")]
pub(crate) struct Args {
    /// The folder or the ZIP file
    handoff: PathBuf,
    /// Also fail unless its plan is signed and approved as it is now
    #[arg(long)]
    require_review: bool,
    /// Write the findings to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Checks it.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let report = console
            .working(|progress| check(&self.handoff, progress))
            .map_err(|error| match error {
                CheckError::Cancelled(_) => Fault::Cancelled,
                error => Fault::input(error),
            })?;
        if self.json {
            let text = serde_json::to_string_pretty(&report).map_err(Fault::system)?;
            console.out(&format!("{text}\n"))?;
        }
        if !report.faults.is_empty() {
            return Err(Fault::Input(format!(
                "{}: don't print from this hand-off; ask for a new one:\n  {}",
                self.handoff.display(),
                report.faults.join("\n  ")
            )));
        }
        if self.require_review {
            report
                .review
                .require()
                .map_err(|error| Fault::Input(format!("{}: {error}", self.handoff.display())))?;
        }
        match self.json {
            true => Ok(()),
            false => console.out(&self.told(&report)),
        }
    }

    fn told(&self, report: &Report) -> String {
        let mut text = format!("{}: complete and unchanged\n", self.handoff.display());
        for line in &report.held {
            text.push_str(&format!("  ok  {line}\n"));
        }
        for note in &report.notes {
            text.push_str(&format!("  note  {note}\n"));
        }
        text
    }
}
