//! `tintfall lag-test`.

use std::path::{Path, PathBuf};

use calibrate::lag_test::{LagTest, LagTestError};
use package::{PrepareError, prepare};
use plan::Machine;
use project::job::Job;

use super::preflight::read_machine;
use super::prepare::not_opened;
use super::swatch::{not_written, read_spools, text_of};
use crate::console::Console;
use crate::fault::Fault;

/// Write a test print that shows the lag of the melt chamber: part, plan, schedule, tables
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall lag-test spools.ron --out lag
  (print it, read it, fill in lag/ends.csv or lag/colours.csv)
  tintfall lag-fit lag/lag-test.plan.ron lag/ends.csv --out machine.ron

Print the tower alone and slowly, and stay with it: it is thin and tall. Nozzle and bed burn.")]
pub(crate) struct Args {
    /// The file of spools, as for `tintfall swatch`
    spools: PathBuf,
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The machine file, if the defaults don't suit your hotend
    #[arg(long, value_name = "FILE")]
    machine: Option<PathBuf>,
}

impl Args {
    /// Writes the test print.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let spools = read_spools(&self.spools)?;
        let machine = match &self.machine {
            Some(path) => read_machine(path)?,
            None => Machine::default(),
        };
        let model = blend::model_for(&spools, spools.measured.as_ref());
        let mut test =
            LagTest::new(&spools, model.as_ref(), &machine, "lag-test.stl").map_err(|error| {
                match error {
                    LagTestError::Mesh(_) => Fault::system(error),
                    error => Fault::input(error),
                }
            })?;
        // Measured spools keep what was measured of them: the fit rests on how they mix.
        let measured = match spools.measured.is_some() {
            true => Some(text_of(&self.spools)?),
            false => None,
        };
        if measured.is_some() {
            test.name_measured(spools);
        }
        test.write(&self.out, measured.as_deref())
            .map_err(not_written)?;
        console.working(|progress| -> Result<(), Fault> {
            let plan = self.out.join("lag-test.plan.ron");
            let job = Job::open(&plan, progress).map_err(not_opened)?;
            prepare(&job, &self.out.join("lag-test"), progress).map_err(|error| match error {
                PrepareError::Cancelled(_) => Fault::Cancelled,
                error => Fault::system(error),
            })?;
            Ok(())
        })?;
        console.out(&told(&self.out))
    }
}

fn told(folder: &Path) -> String {
    let path = |name: &str| folder.join(name).display().to_string();
    format!(
        "Wrote into {}\n  \
         lag-test.stl        a thin square tower\n  \
         lag-test.plan.ron   its plan\n  \
         lag-test/           its schedule, sheet and summary\n  \
         how-to-read.txt     how to print and read it\n  \
         ends.csv            a table for where each change began and ended\n  \
         colours.csv         a table for colours by height, which gives a better fit\n\
         Print it, read it, then run\n  \
         tintfall lag-fit {} {} --out machine.ron\n\
         Read `tintfall cautions` before you print.\n",
        folder.display(),
        path("lag-test.plan.ron"),
        path("ends.csv")
    )
}
