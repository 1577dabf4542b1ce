//! What a step is done with.

use std::path::{Path, PathBuf};

use geometry::Progress;
use geometry::inspect::Finding;
use plan::{AsPrinted, Schedule, ScheduleError};
use project::job::Job;
use project::record::Opened;

use crate::jobs::Stop;
use crate::jobs::toolpath_file::Part;
use crate::model::errand::{Errand, Forms};

/// What to do.
pub struct Order {
    /// Which step.
    pub errand: Errand,
    /// What was typed for it.
    pub forms: Forms,
    /// The plan as it stands, on its part.
    pub part: Part,
    /// The plan's file, once there is one.
    pub plan_file: Option<PathBuf>,
    /// What a person should know about the mesh.
    pub notes: Vec<String>,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
}

impl Order {
    /// The plan as its files have it.
    pub(super) fn as_saved(&self, progress: &Progress) -> Result<Job, Stop> {
        match &self.plan_file {
            Some(file) => Ok(Job::open(file, progress)?),
            None => Err(Stop::Failed(
                "The plan has no file yet. Save it first.".to_owned(),
            )),
        }
    }

    /// What was seen of a print, if its record is named.
    pub(super) fn records(&self) -> Result<Vec<Opened>, Stop> {
        records(&self.forms.record)
    }

    /// The plan as it stands in the window.
    pub(super) fn into_job(self, progress: &Progress) -> Result<Job, Stop> {
        Ok(Job {
            path: self.plan_file.unwrap_or_default(),
            painted: self.part.painted(progress)?,
            notes: self.notes,
            findings: self.findings,
        })
    }
}

/// What was seen of a print, if the folder of its record is named.
pub(in crate::jobs) fn records(folder: &str) -> Result<Vec<Opened>, Stop> {
    let folder = folder.trim();
    if folder.is_empty() {
        return Ok(Vec::new());
    }
    let opened = Opened::read(Path::new(folder)).map_err(|error| Stop::failed(&error))?;
    Ok(vec![opened])
}

/// A path that was typed.
pub(super) fn typed(text: &str, what: &str) -> Result<PathBuf, Stop> {
    match text.trim() {
        "" => Err(Stop::Failed(format!("Type the path of {what}."))),
        text => Ok(PathBuf::from(text)),
    }
}

/// The text of a file.
pub(super) fn text_of(path: &Path) -> Result<String, Stop> {
    project::text_file::read_text(path)
        .map_err(|why| Stop::Failed(format!("{}: {why}", path.display())))
}

/// What is requested of a job, and what comes out.
pub(in crate::jobs) fn worked(
    job: &Job,
    progress: &Progress,
) -> Result<(Schedule, AsPrinted), Stop> {
    let painted = &job.painted;
    let schedule = Schedule::new(painted, progress).map_err(|error| match error {
        ScheduleError::Cancelled(_) => Stop::Cancelled,
        error => Stop::failed(&error),
    })?;
    let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, progress)?;
    Ok((schedule, printed))
}

/// What [`package`] could not prepare.
pub(super) fn not_prepared(error: package::PrepareError) -> Stop {
    match error {
        package::PrepareError::Cancelled(_) => Stop::Cancelled,
        error => Stop::failed(&error),
    }
}
