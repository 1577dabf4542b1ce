//! Reads a test print from a photograph of it on the card, as the command `read-photo` does, by
//! the same functions.

use std::path::{Path, PathBuf};

use blend::Lab;
use calibrate::on_card::table::Rows;
use calibrate::on_card::{CardReading, Refusal, Sample, Task, look};
use calibrate::photo_file::PhotoFile;
use geometry::Progress;
use photograph::laid::Frame;
use photograph::overlay::{Line, drawn};
use project::job::Job;

use super::Stop;
use super::thumbnails::Picture;
use crate::model::photo_form::PhotoForm;

/// A photograph that was looked at.
#[derive(Debug)]
pub struct SeenPhoto {
    /// With what it was read.
    pub of: PhotoForm,
    /// The photograph, smaller if it is large.
    pub picture: Picture,
    /// Its own pixels, across and down, in which lines and frame are.
    pub size_px: (usize, usize),
    /// What was found and read where.
    pub lines: Vec<Line>,
    /// The frame round the print's face: as found, as given, or to begin with.
    pub frame: Frame,
    /// What was read, or why nothing was.
    pub read: Result<Readings, String>,
    /// Whether a frame may help where nothing was read.
    pub frame_helps: bool,
}

/// What was read.
#[derive(Debug)]
pub struct Readings {
    /// Steps or heights by their names, and their colours.
    pub listed: Vec<(String, Lab)>,
    /// What a person should know before trusting them.
    pub warnings: Vec<String>,
    /// How camera and print were found.
    pub found: Vec<String>,
    sample: Sample,
    reading: CardReading,
    photo: PathBuf,
    plan: PathBuf,
}

/// Reads a photograph.
///
/// # Errors
/// [`Stop`] in words that say what is wrong and what to do, where there is nothing to show, or
/// when cancelled. What is refused of a photograph is an answer.
pub fn run(form: PhotoForm, progress: &Progress) -> Result<SeenPhoto, Stop> {
    let photo_file = named(&form.photo, "Choose the photograph.")?;
    let plan_file = named(&form.plan, "Choose the plan of the test print.")?;
    let references = form.references().map_err(Stop::Failed)?;
    let job = Job::open(&plan_file, progress)?;
    let mesh = job.painted.surface().mesh();
    let sample = Sample::of(job.painted.plan(), mesh)
        .map_err(|why| Stop::Failed(format!("{}: {why}", plan_file.display())))?;
    progress.stage("Reading the photograph");
    let PhotoFile { photo, .. } = PhotoFile::read(&photo_file).map_err(Stop::Failed)?;
    progress.check()?;
    let task = Task {
        photo: &photo,
        references: &references,
        sample: &sample,
        mesh,
        frame: form.frame,
    };
    let found = look(&task, progress)?;
    let (width, height, rgba) = drawn(&photo, &[]);
    let frame_helps = matches!(found.reading, Err(Refusal::Place(_)));
    let read = found.reading.map_err(|why| why.to_string());
    let read = read.and_then(|reading| Readings::of(sample, reading, photo_file, plan_file));
    Ok(SeenPhoto {
        of: form,
        picture: Picture {
            size_px: [width, height],
            rgba,
        },
        size_px: (photo.width(), photo.height()),
        lines: found.lines,
        frame: found.frame,
        read,
        frame_helps,
    })
}

fn named(text: &str, wanted: &str) -> Result<PathBuf, Stop> {
    match text.trim() {
        "" => Err(Stop::Failed(wanted.to_owned())),
        text => Ok(PathBuf::from(text)),
    }
}

impl Readings {
    fn of(
        sample: Sample,
        reading: CardReading,
        photo: PathBuf,
        plan: PathBuf,
    ) -> Result<Self, String> {
        let listed = match Rows::of(&sample, &reading, &plan)? {
            Rows::Steps { steps, .. } => {
                let named = |(step, lab)| (format!("Step {step}"), lab);
                steps.into_iter().map(named).collect()
            }
            Rows::Heights(colours) => {
                let named = |(at, lab)| (format!("{at:.1} mm"), lab);
                colours.into_iter().map(named).collect()
            }
        };
        Ok(Self {
            listed,
            warnings: reading.warnings.clone(),
            found: reading.found.clone(),
            sample,
            reading,
            photo,
            plan,
        })
    }

    /// Whether they are a lag test's, by height.
    pub fn are_heights(&self) -> bool {
        matches!(self.sample, Sample::Tower(_))
    }

    /// The plan of the print.
    pub fn plan(&self) -> &Path {
        &self.plan
    }

    /// Writes them into a table. The test print's own table is read again, for it may have
    /// changed.
    ///
    /// # Errors
    /// [`Stop`] in words.
    pub fn write(&self, out: &Path) -> Result<PathBuf, Stop> {
        let text = Rows::of(&self.sample, &self.reading, &self.plan)
            .and_then(|rows| rows.text(&self.photo, out))
            .map_err(Stop::Failed)?;
        project::write::bytes(out, text.as_bytes()).map_err(|error| Stop::failed(&error))?;
        Ok(out.to_owned())
    }
}
