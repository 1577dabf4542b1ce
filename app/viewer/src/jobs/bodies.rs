//! Cuts the part into bodies, and writes them.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use bodies::{BodiesError, Options};
use geometry::{Progress, Surface};
use package::bodies::{BodiesSummary, BodyFilesError, BodyPlan};
use package::{PrepareError, scheduled};
use plan::{AsPrinted, Painted, Plan};
use project::job::Job;
use project::signoff;
use project::write::Folder;
use weave::dialect::Dialect;

use super::Stop;
use super::thumbnails::Picture;
use crate::model::document::Origin;

/// What to cut.
pub struct Order {
    /// The plan's file, or where it would be.
    pub plan_file: PathBuf,
    /// The plan.
    pub plan: Plan,
    /// The part.
    pub surface: Surface,
    /// How it is cut.
    pub options: Options,
    /// How the firmware is told.
    pub dialect: Dialect,
}

/// A part in bodies, ready to be written.
#[derive(Debug)]
pub struct Cut {
    /// What it says.
    pub summary: BodiesSummary,
    /// The bodies apart from each other.
    pub picture: Option<Picture>,
    /// Names, what they are, and content.
    pub files: Vec<(String, String, Vec<u8>)>,
}

/// The folder that is proposed.
pub fn suggested_folder(origin: &Origin) -> PathBuf {
    let prepared = super::prepare::suggested_folder(origin);
    let name = prepared.file_name().unwrap_or_default().to_string_lossy();
    let stem = name.strip_suffix("-prepared").unwrap_or(&name);
    prepared.with_file_name(format!("{stem}-bodies"))
}

/// Cuts.
///
/// # Errors
/// [`Stop`] in words, or because it was told to.
pub fn run(order: Order, progress: &Progress) -> Result<Arc<Cut>, Stop> {
    let model = order.plan.model();
    let painted =
        Painted::new(order.plan, order.surface, model, progress).map_err(super::repaint::stop)?;
    let job = Job {
        path: order.plan_file,
        painted,
        notes: Vec::new(),
        findings: Vec::new(),
    };
    let standing = signoff::standing(&job).map_err(|e| Stop::failed(&e))?;
    let schedule = scheduled(&job, None, &standing, progress).map_err(|e| match e {
        PrepareError::Cancelled(_) => Stop::Cancelled,
        e => Stop::failed(&e),
    })?;
    let painted = &job.painted;
    let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, progress)?;
    let plan = BodyPlan {
        job: &job,
        schedule: &schedule,
        printed: Some(&printed),
        options: order.options,
        dialect: &order.dialect,
    };
    let made = plan.files(progress).map_err(|e| match e {
        BodyFilesError::Bodies(BodiesError::Cancelled(_)) => Stop::Cancelled,
        e => Stop::failed(&e),
    })?;
    let picture = made.picture.map(|image| Picture {
        size_px: [image.width_px() as usize, image.height_px() as usize],
        rgba: image.rgba().to_vec(),
    });
    Ok(Arc::new(Cut {
        summary: made.summary,
        picture,
        files: made.files,
    }))
}

/// Writes what was cut into a folder; all files appear together.
///
/// # Errors
/// [`Stop`] in words, or because it was told to.
pub fn write(cut: &Cut, folder: &Path, progress: &Progress) -> Result<PathBuf, Stop> {
    progress.stage("Writing bodies");
    let mut set = Folder::new(folder).map_err(|e| Stop::failed(&e))?;
    for (name, _, content) in &cut.files {
        progress.check()?;
        set.bytes(name, content).map_err(|e| Stop::failed(&e))?;
    }
    set.commit().map_err(|e| Stop::failed(&e))?;
    Ok(folder.to_owned())
}
