//! `tintfall watch`.

use std::path::{Path, PathBuf};

use calibrate::observations;
use geometry::Progress;
use plan::{AsPrinted, Schedule, ScheduleError};
use project::job::Job;
use report::watch::{self, WatchFilesError};

use super::prepare::not_opened;
use super::sliced::Sliced;
use super::swatch::text_of;
use crate::console::Console;
use crate::fault::Fault;

/// List each drive's turns and filament by height, to check a print as it grows
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall watch lamp-shade.plan.ron --every 10
  tintfall watch lamp-shade.plan.ron --toolpath lamp-shade.gcode    counts that file's plastic
  tintfall watch lamp-shade.plan.ron --out watch     text, CSV, a page to print, a table to fill in

Mark each drive's gear and each filament, and compare. Keep fingers and sleeves away from moving
parts and the hotend; stop the printer before you touch anything.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// Height between rows, mm
    #[arg(long, value_name = "MM", default_value_t = watch::EVERY_MM, allow_negative_numbers = true)]
    every: f64,
    /// A folder to write the table into, with an empty table for `tintfall trace`
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write JSON instead of text
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    sliced: Sliced,
}

/// A plan with its schedule and what comes out of the nozzle.
pub(super) struct Worked {
    /// The plan on its part.
    pub job: Job,
    /// What is requested.
    pub schedule: Schedule,
    /// What comes out.
    pub printed: AsPrinted,
}

impl Worked {
    /// Computes them.
    pub(super) fn open(plan: &Path, progress: &Progress) -> Result<Self, Fault> {
        Self::along(plan, None, progress)
    }

    /// Computes them for the plastic of a toolpath, if one is given.
    pub(super) fn along(
        plan: &Path,
        sliced: Option<&Sliced>,
        progress: &Progress,
    ) -> Result<Self, Fault> {
        let job = Job::open(plan, progress).map_err(not_opened)?;
        let painted = &job.painted;
        let laid = match sliced {
            Some(sliced) => sliced.laid(&job, progress)?,
            None => None,
        };
        let made = Schedule::along(painted, laid.as_ref().map(|l| &l.laid), progress);
        let schedule = made.map_err(|error| match error {
            ScheduleError::Cancelled(_) => Fault::Cancelled,
            error => Fault::Input(format!("{}: {error}", plan.display())),
        })?;
        let mut printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, progress)?;
        if let Some(woven) = laid.as_ref().and_then(|laid| laid.woven.as_ref()) {
            printed = printed.read_back(painted.plan(), woven);
        }
        Ok(Self {
            job,
            schedule,
            printed,
        })
    }

    /// Height of the part, mm.
    pub(super) fn top_mm(&self) -> f64 {
        self.schedule.layers.last().map_or(0.0, |l| l.span.top_mm)
    }
}

impl Args {
    /// Makes the table.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        if !(self.every.is_finite() && self.every > 0.0) {
            return Err(Fault::Input(format!(
                "--every {}: give a distance above 0 mm, such as 5",
                self.every
            )));
        }
        let worked =
            console.working(|progress| Worked::along(&self.plan, Some(&self.sliced), progress))?;
        let plan = worked.job.painted.plan();
        let table = plan::watch::Watch::new(plan, &worked.schedule, &worked.printed, self.every);
        if let Some(folder) = &self.out {
            write_all(folder, &worked, &table)?;
        }
        match (self.json, &self.out) {
            (true, _) => {
                let text = serde_json::to_string_pretty(&table).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            (false, None) => console.out(&watch::text(&table, &worked.schedule.provenance)),
            (false, Some(folder)) => console.out(&told(folder)),
        }
    }
}

fn write_all(folder: &Path, worked: &Worked, table: &plan::watch::Watch) -> Result<(), Fault> {
    let empty = folder.join(watch::SEEN);
    // Readings are work that nobody wants to do twice.
    if empty.exists() && observations::has_readings(&text_of(&empty)?, table.spools.len()) {
        return Err(Fault::Input(format!(
            "{}: this table has readings in it; choose another folder, or move the table",
            empty.display()
        )));
    }
    let from = &worked.schedule.provenance;
    let seen = observations::template(table);
    watch::write(folder, table, from, &seen).map_err(|error| match error {
        WatchFilesError::Write(error) => error.into(),
        error @ WatchFilesError::TooLarge => Fault::system(error),
    })
}

fn told(folder: &Path) -> String {
    format!(
        "Wrote into {}\n  \
         watch.txt       what each drive must have done at each height\n  \
         watch.png       the same as a page to print, with boxes to tick\n  \
         watch.csv       the same for a spreadsheet\n  \
         seen.csv        an empty table for what you see; tintfall trace reads it\n\
         Keep your hands away from moving and hot parts.\n",
        folder.display()
    )
}
