//! A plan file with everything that it names, read and laid on its part.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::path::{Path, PathBuf};

use geometry::inspect::Finding;
use geometry::read::read_mesh;
use geometry::{Cancelled, Progress};
use plan::document::{Cause, StandError};
use plan::painted::PaintError;
use plan::{LoadError, Painted, Plan};

use crate::pictures::{self, ImprintError};
use crate::text_file::read_text;

pub use crate::text_file::beside;

/// A plan laid on its part, ready to be prepared or shown.
pub struct Job {
    /// The plan file.
    pub path: PathBuf,
    /// The plan on the part.
    pub painted: Painted,
    /// What a person should know about how the mesh was read and mended.
    pub notes: Vec<String>,
    /// What is wrong with the mesh and was not mended.
    pub findings: Vec<Finding>,
}

/// Why a plan could not be opened. Its text names the file, with line and column where there
/// are any, and says what to do.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// A file is missing, unreadable, or wrong.
    #[error("{}: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why: a clause that goes on from its name.
        source: Cause,
    },
    /// The plan, or a file that it names, is wrong.
    #[error(transparent)]
    Plan(#[from] LoadError),
    /// The mesh can't be read.
    #[error(transparent)]
    Mesh(#[from] geometry::read::ReadError),
    /// It was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl JobError {
    /// Something wrong with a file.
    pub fn file(path: &Path, why: impl Into<Cause>) -> Self {
        Self::File {
            path: path.to_owned(),
            source: why.into(),
        }
    }
}

impl Job {
    /// Reads a plan file, the files that it names, and its mesh; all beside the plan.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn open(path: &Path, progress: &Progress) -> Result<Self, JobError> {
        progress.stage("Reading the plan");
        let plan = read_plan_with(path, progress)?;
        let mesh_path = beside(path, &plan.mesh.file);
        let mut options = plan.mesh.place.read_options();
        options.progress = progress.clone();
        let reading = read_mesh(&mesh_path, &options).map_err(|error| match error.problem {
            geometry::read::Problem::Cancelled(stop) => JobError::Cancelled(stop),
            _ => JobError::Mesh(error),
        })?;
        let stood = plan
            .mesh
            .stand(reading, progress)
            .map_err(|error| match error {
                StandError::Cancelled(stop) => JobError::Cancelled(stop),
                error => JobError::file(path, error),
            })?;
        let model = plan.model();
        let painted =
            Painted::new(plan, stood.surface, model, progress).map_err(|error| match error {
                PaintError::Cancelled(stop) => JobError::Cancelled(stop),
                error => JobError::file(path, error),
            })?;
        Ok(Self {
            path: path.to_owned(),
            painted,
            notes: stood.notes,
            findings: stood.findings,
        })
    }

    /// All that a person should know about the mesh: how it was read, and what is wrong with it.
    pub fn told(&self) -> Vec<String> {
        let findings = self.findings.iter().map(Finding::told);
        self.notes.iter().cloned().chain(findings).collect()
    }
}

/// Reads a plan file, and the spool and machine files, pictures and fonts that it names.
///
/// # Errors
/// [`JobError`] with file, line, column, what is wrong and what to do.
pub fn read_plan(path: &Path) -> Result<Plan, JobError> {
    read_plan_with(path, &Progress::new())
}

/// As [`read_plan`], for a plan that may name large models.
///
/// # Errors
/// As [`read_plan`], or because it was cancelled.
pub fn read_plan_with(path: &Path, progress: &Progress) -> Result<Plan, JobError> {
    let mut plan = read_plan_alone(path)?;
    load_pictures_with(&mut plan, path, progress)?;
    Ok(plan)
}

/// Reads a plan file, and the spool and machine files that it names, but no pictures, fonts and
/// coloured models: so it stays as it is written, without hashes that it doesn't give.
///
/// # Errors
/// As [`read_plan`].
pub fn read_plan_alone(path: &Path) -> Result<Plan, JobError> {
    let text = read_text(path).map_err(|why| JobError::file(path, why))?;
    let loaded = Plan::load(&text, |file| read_text(&beside(path, file)));
    loaded.map_err(|error| match error {
        LoadError::Text(error) => {
            LoadError::Text(error.in_file(&path.display().to_string())).into()
        }
        error => JobError::from(error),
    })
}

/// Reads the pictures, fonts and coloured models that a plan names, all beside the plan file, into its masks and
/// fades.
///
/// # Errors
/// [`JobError`] names the file.
pub fn load_pictures(plan: &mut Plan, path: &Path) -> Result<(), JobError> {
    load_pictures_with(plan, path, &Progress::new())
}

/// As [`load_pictures`], for a plan that may name large models.
///
/// # Errors
/// As [`load_pictures`], or because it was cancelled.
pub fn load_pictures_with(
    plan: &mut Plan,
    path: &Path,
    progress: &Progress,
) -> Result<(), JobError> {
    let folder = path.parent().unwrap_or(Path::new(""));
    pictures::load(plan, folder, progress).map_err(|(file, why)| match why {
        ImprintError::Cancelled(stop) => JobError::Cancelled(stop),
        why => JobError::file(&file, why),
    })?;
    match plan.too_many_pixels() {
        Some(why) => Err(JobError::file(path, why)),
        None => Ok(()),
    }
}
