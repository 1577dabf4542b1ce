//! `tintfall card`.

use std::path::PathBuf;

use clap::ValueEnum;
use photograph::sheet::{self, Paper};
use project::write;

use crate::console::Console;
use crate::fault::Fault;

/// Write the card to lay under a test print that is photographed
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall card --out card.pdf
  (print it at 100 %, lay the bar and a grey card on it, photograph it)
  tintfall read-photo photo.jpg --plan swatch/swatch.plan.ron --neutral 0.18 --out readings.csv

The card's marks show where the camera stood, its blank paper how the light falls. It has no grey
of its own: a printer's grey can be any grey. Lay a reference of known reflectance on it.")]
pub(crate) struct Args {
    /// The file to write; its ending says which kind, .pdf or .svg
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// The paper
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    paper: PaperName,
}

/// A paper as it is written on the command line.
#[derive(Clone, Copy, ValueEnum)]
enum PaperName {
    A4,
    Letter,
}

impl Args {
    /// Writes it.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let paper = match self.paper {
            PaperName::A4 => Paper::A4,
            PaperName::Letter => Paper::Letter,
        };
        let ending = self.out.extension().unwrap_or_default();
        let bytes = match ending.to_string_lossy().to_lowercase().as_str() {
            "pdf" => sheet::pdf(paper),
            "svg" => sheet::svg(paper).into_bytes(),
            _ => {
                return Err(Fault::Input(format!(
                    "{}: name a file that ends in .pdf or .svg",
                    self.out.display()
                )));
            }
        };
        write::bytes(&self.out, &bytes)?;
        console.out(&format!(
            "Wrote {}\nPrint it at 100 %, not fitted to the page, and check its scale with a \
             ruler.\n",
            self.out.display()
        ))
    }
}
