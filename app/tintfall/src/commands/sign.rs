//! `tintfall sign`.

use std::path::PathBuf;

use project::job::Job;
use project::signoff::{self, Decision, Signature, Verdict};

use super::prepare::{not_opened, not_signed};
use crate::console::Console;
use crate::fault::Fault;

/// Sign a plan that you have reviewed, or send it back
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall sign lighthouse.plan.ron --name \"Ada Keeper\" --note \"Bands as on the postcard\"
  tintfall sign lighthouse.plan.ron --name \"Ada Keeper\" --send-back --note \"Door is too dark\"

The signature is beside the plan, in lighthouse.plan.review.ron. It covers the bytes of the plan,
the mesh, and the spool and machine files. Change one byte and it is out of date, and every file
written afterwards says so. It is a note between people who trust each other, not a proof of who
wrote it.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// Your name
    #[arg(long)]
    name: String,
    /// What the next person should know
    #[arg(long, default_value = "")]
    note: String,
    /// Reject it; say in --note what has to change
    #[arg(long)]
    send_back: bool,
    /// Write the signature to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Signs the plan.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let signature = console.working(|progress| {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            let verdict = Verdict {
                name: self.name.clone(),
                decision: match self.send_back {
                    true => Decision::SentBack,
                    false => Decision::Approved,
                },
                note: self.note.clone(),
            };
            signoff::sign(&job, verdict).map_err(not_signed)
        })?;
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&serde_json::json!({
                    "name": signature.name,
                    "at": signature.at,
                    "decision": signature.decision,
                    "note": signature.note,
                    "seal": signature.seal,
                }))
                .map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&self.told(&signature)),
        }
    }

    fn told(&self, signature: &Signature) -> String {
        let done = match signature.decision {
            Decision::Approved => "approved",
            Decision::SentBack => "sent back",
        };
        let seal = &signature.seal;
        let mut text = format!(
            "{} {done} {} on {}\n",
            signature.name,
            self.plan.display(),
            signature.at
        );
        for (what, hash) in [
            ("all", Some(&seal.whole_sha256)),
            ("plan", Some(&seal.plan_file_sha256)),
            ("mesh", Some(&seal.mesh_file_sha256)),
            ("spools", seal.spools_file_sha256.as_ref()),
            ("machine", seal.machine_file_sha256.as_ref()),
        ] {
            if let Some(hash) = hash {
                text.push_str(&format!("  {what:9}SHA-256 {hash}\n"));
            }
        }
        text.push_str(&format!(
            "Wrote {}. Change one byte of these files and the signature is out of date.\n",
            signoff::path_of(&self.plan).display()
        ));
        text
    }
}
