//! Reads the finished part from photographs of it on the card, as the command `seen` does, by the
//! same functions.

use std::path::PathBuf;

use blend::Srgb;
use calibrate::finished::reading::Reading;
use calibrate::finished::tables::by_height;
use calibrate::finished::{Expected, FinishedError};
use geometry::Progress;
use package::print_record::{PrintRecord, PrintRecordError};
use project::job::Job;
use project::record::PictureOf;
use project::signoff::Seal;

use super::Stop;
use super::colours::{difference_colour, encoded};
use super::errands::worked;
use crate::model::finished_form::FinishedForm;

/// What to read.
pub struct Order {
    /// What was typed for it.
    pub form: FinishedForm,
    /// The plan that was printed.
    pub plan_file: PathBuf,
    /// The revision that its file has.
    pub revision: u64,
}

/// The finished part as photographs show it.
pub struct SeenPart {
    /// With what it was read.
    pub of: FinishedForm,
    /// The plan's revision.
    pub revision: u64,
    /// What was read.
    pub reading: Reading,
    /// Its record, to be written.
    pub record: PrintRecord,
    /// Its colours by height, for tracing.
    pub colours: String,
    /// Of each photograph, where seen differs from as printed, in the colours of the scale.
    differences: Vec<Vec<u8>>,
}

/// Reads them.
///
/// # Errors
/// [`Stop`] in words that say what is wrong and what to do, or when cancelled.
pub fn run(order: Order, progress: &Progress) -> Result<SeenPart, Stop> {
    let wanted = order.form.order().map_err(Stop::Failed)?;
    let job = Job::open(&order.plan_file, progress)?;
    let (schedule, printed) = worked(&job, progress)?;
    let plan = job.painted.plan();
    let expected = Expected {
        painted: &job.painted,
        schedule: &schedule,
        printed: &printed,
    };
    let reading = Reading::of(wanted, &expected, progress).map_err(|error| match error {
        FinishedError::Cancelled(_) => Stop::Cancelled,
        FinishedError::Refused(why) => Stop::Failed(format!("Refused: {why}.")),
    })?;
    let seal = Seal::of(&job.path, plan).map_err(|error| Stop::failed(&error))?;
    let record = PrintRecord::new(&reading, plan, seal, progress).map_err(|error| match error {
        PrintRecordError::Cancelled(_) => Stop::Cancelled,
        error => Stop::failed(&error),
    })?;
    Ok(SeenPart {
        of: order.form,
        revision: order.revision,
        differences: differences(&reading),
        colours: by_height(&reading.all),
        reading,
        record,
    })
}

/// In the window's own scale, as on the stage; see-through where nothing was read.
fn differences(reading: &Reading) -> Vec<Vec<u8>> {
    let pixel = |off: &Option<f32>| match off {
        Some(off) => {
            let Srgb([r, g, b]) = encoded(difference_colour(f64::from(*off)));
            [r, g, b, 255]
        }
        None => [0; 4],
    };
    let shown = reading.shown.iter();
    let pictures = shown.map(|s| s.part.views.off_de00.iter().flat_map(pixel).collect());
    pictures.collect()
}

impl SeenPart {
    /// The photographs' names.
    pub fn names(&self) -> Vec<&str> {
        let shown = self.reading.shown.iter();
        shown.map(|shown| shown.name.as_str()).collect()
    }

    /// A photograph with what was found on it.
    pub fn overlay(&self, photo: usize) -> Option<([usize; 2], &[u8])> {
        let (width, height, rgba) = &self.reading.shown.get(photo)?.overlay;
        Some(([*width, *height], rgba))
    }

    /// A view of a photograph: pixels across and down, and red, green, blue and opacity of each.
    pub fn view(&self, photo: usize, of: PictureOf) -> Option<([usize; 2], &[u8])> {
        let views = &self.reading.shown.get(photo)?.part.views;
        let rgba: &[u8] = match of {
            PictureOf::Requested => &views.requested,
            PictureOf::Printed => &views.printed,
            PictureOf::Seen => &views.seen,
            PictureOf::Off => self.differences.get(photo)?,
        };
        Some(([views.width, views.height], rgba))
    }

    /// How far seen is from as printed at a pixel of the views, ΔE00, where that was read.
    pub fn off_de00(&self, photo: usize, (column, row): (usize, usize)) -> Option<f32> {
        let views = &self.reading.shown.get(photo)?.part.views;
        let inside = column < views.width && row < views.height;
        let place = inside.then_some(row * views.width + column)?;
        views.off_de00.get(place).copied().flatten()
    }
}
