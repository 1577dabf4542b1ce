//! `tintfall swatch`.

use std::path::{Path, PathBuf};

use calibrate::{Options, PartError, Swatch, TestFilesError};
use package::{PrepareError, Summary, prepare};
use plan::{Machine, SpoolSet};
use project::job::Job;
use project::text_file::read_text;

use super::prepare::not_opened;
use crate::console::Console;
use crate::fault::Fault;

/// Write a test print for a set of spools: the part, its plan and schedule, and a table to fill in
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall swatch spools.ron --out swatch
  (print it, measure it, fill in swatch/measured.csv)
  tintfall fit swatch/measured.csv --out pair.ron

SPOOLS is a file with a version and the list of spools as in a plan:
  (version: 1, spools: [
      (name: \"Sail white\", colour: Hex(\"#f2efe6\")),
      (name: \"Deep water\", colour: Hex(\"#14507a\")),
  ])")]
pub(crate) struct Args {
    /// The file of spools
    spools: PathBuf,
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The machine file, if the defaults don't suit your hotend
    #[arg(long, value_name = "FILE")]
    machine: Option<PathBuf>,
    /// Steps that mix each pair of spools; 9 for two spools, 5 for more
    #[arg(long, value_name = "COUNT")]
    between: Option<usize>,
    /// The tallest part that fits the printer, mm
    #[arg(long, value_name = "MM", default_value_t = 200.0)]
    tallest: f64,
}

impl Args {
    /// Writes the test print.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let spools = read_spools(&self.spools)?;
        let machine = match &self.machine {
            Some(path) => {
                let text = text_of(path)?;
                Machine::from_ron(&text)
                    .map_err(|e| Fault::input(e.in_file(&path.display().to_string())))?
            }
            None => Machine::default(),
        };
        let mut options = Options::for_spools(spools.len());
        options.tallest_mm = self.tallest;
        options.between = self.between.unwrap_or(options.between);
        let swatch = Swatch::new(spools, &machine, &options).map_err(|error| match error {
            PartError::Mesh(_) => Fault::system(error),
            error => Fault::input(error),
        })?;
        swatch.write(&self.out).map_err(not_written)?;
        let mut cost = Cost::default();
        for (name, _) in swatch.bars() {
            cost.add(&console.working(|progress| -> Result<_, Fault> {
                let plan = Swatch::plan_file(&self.out, name);
                let job = Job::open(&plan, progress).map_err(not_opened)?;
                let out = self.out.join(name);
                let prepared = prepare(&job, &out, progress).map_err(|error| match error {
                    PrepareError::Cancelled(_) => Fault::Cancelled,
                    error => Fault::system(error),
                })?;
                Ok(Cost::of(&prepared.summary, &machine))
            })?);
        }
        console.out(&told(&self.out, &swatch, &cost))
    }
}

/// What the bars cost to print, by their plans.
#[derive(Default)]
struct Cost {
    mass_g: f64,
    minutes: f64,
}

impl Cost {
    fn of(summary: &Summary, machine: &Machine) -> Self {
        let totals = &summary.totals;
        Self {
            mass_g: totals.spools.iter().map(|s| s.mass_g).sum(),
            minutes: machine.minutes(totals.volume_mm3),
        }
    }

    fn add(&mut self, other: &Self) {
        self.mass_g += other.mass_g;
        self.minutes += other.minutes;
    }

    fn line(&self) -> String {
        format!(
            "It takes about {:.0} g of plastic and {:.1} h, at the machine's usual flow and \
             without travel moves.\n",
            self.mass_g,
            self.minutes / 60.0,
        )
    }
}

/// Reads a file of spools.
pub(super) fn read_spools(path: &Path) -> Result<SpoolSet, Fault> {
    calibrate::read_spools(path).map_err(not_opened)
}

/// A text file whole.
pub(super) fn text_of(path: &Path) -> Result<String, Fault> {
    read_text(path).map_err(|why| Fault::Input(format!("{}: {why}", path.display())))
}

/// The files of a test print that can't be written, as a fault.
pub(super) fn not_written(error: TestFilesError) -> Fault {
    match error {
        TestFilesError::Write(error) => error.into(),
        error @ TestFilesError::Content(_) => Fault::system(error),
        error => Fault::input(error),
    }
}

fn told(folder: &Path, swatch: &Swatch, cost: &Cost) -> String {
    let mut text = format!("Wrote into {}\n", folder.display());
    let mut line = |file: &str, what: &str| text.push_str(&format!("  {file:20}{what}\n"));
    for (name, bar) in swatch.bars() {
        let steps = bar.steps.len();
        line(
            &format!("{name}.stl"),
            &format!("an upright bar of {steps} steps"),
        );
        line(&format!("{name}.plan.ron"), "its plan");
        line(&format!("{name}/"), "its schedule, sheet and summary");
    }
    line(
        "how-to-measure.txt",
        "where everything is, and how to measure it",
    );
    line("measured.csv", "the table to fill in");
    line("patches.ron", "where the patches are, for read-photo");
    line("spools.ron", "the spools");
    text.push_str(&cost.line());
    text.push_str(&format!(
        "Print it, measure it, then run\n  tintfall fit {} --out pair.ron\n\
         Read `tintfall cautions` before you print.\n",
        folder.join("measured.csv").display()
    ));
    text
}
