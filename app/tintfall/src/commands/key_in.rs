//! `tintfall key-in`.

use std::path::PathBuf;

use package::scheduled;
use project::job::Job;
use project::{signoff, write};
use report::panel_table::{Outside, PanelTable, Screen, table};

use super::prepare::{not_opened, not_prepared, not_signed};
use crate::console::Console;
use crate::fault::Fault;

/// Make a short table of fades and blends to key in at a printer's own screen
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall key-in lamp-shade.plan.ron --fades 2 --stored 6

For firmwares that take only fades between two heights and a few stored blends. With --outside, say
what yours prints outside of its fades; see its manual, or print a test. You get the best table
found within those limits, and how far it is off the plan's requested colours.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// How many fades, each with a start and an end height, the firmware takes
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u16).range(1..=64))]
    fades: u16,
    /// How many blends it stores; by default what the machine file says, or 8
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=64))]
    stored: Option<u16>,
    /// What the printer does at heights outside of its fades
    #[arg(long, value_enum, default_value = "unknown")]
    outside: OutsideWord,
    /// Write the table to a file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write it to standard output as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum OutsideWord {
    /// Not known: the fades leave no gap
    Unknown,
    /// Below the first fade its first blend, above the last one its last blend
    Ends,
    /// The same, and between fades the last blend of the lower one
    Hold,
}

impl From<OutsideWord> for Outside {
    fn from(word: OutsideWord) -> Self {
        match word {
            OutsideWord::Unknown => Self::Unknown,
            OutsideWord::Ends => Self::Ends,
            OutsideWord::Hold => Self::Hold,
        }
    }
}

impl Args {
    /// Makes the table.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let (keyed, text) = console.working(|progress| -> Result<_, Fault> {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            let standing = signoff::standing(&job).map_err(not_signed)?;
            let schedule = scheduled(&job, None, &standing, progress)
                .map_err(|error| not_prepared(&self.plan, error))?;
            let mut screen = Screen::of(&job.painted);
            screen.fades = self.fades.into();
            screen.outside = self.outside.into();
            if let Some(stored) = self.stored {
                screen.stored = stored.into();
            }
            let keyed = PanelTable::new(&job.painted, &schedule, screen);
            let text = table(&keyed, screen, &job.painted, &schedule);
            Ok((keyed, text))
        })?;
        if let Some(out) = &self.out {
            write::bytes(out, text.as_bytes())?;
        }
        match (self.json, &self.out) {
            (true, _) => {
                let text = serde_json::to_string_pretty(&keyed).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            (false, Some(out)) => console.out(&format!("Wrote {}\n", out.display())),
            (false, None) => console.out(&text),
        }
    }
}
