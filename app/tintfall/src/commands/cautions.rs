//! `tintfall cautions`.

use project::cautions;

use crate::console::Console;
use crate::fault::Fault;

/// Print the safety cautions for work at a hot printer
#[derive(clap::Args)]
pub(crate) struct Args {}

impl Args {
    /// Prints them.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let mut text = String::new();
        for caution in cautions::ALL {
            text.push_str(&format!("{}\n  {}\n", caution.about, caution.text));
        }
        console.out(&text)
    }
}
