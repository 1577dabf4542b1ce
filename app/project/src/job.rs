//! A plan file with everything that it names, read and laid on its part.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use geometry::inspect::Finding;
use geometry::read::read_mesh;
use geometry::{Cancelled, Progress, Surface};
use plan::document::StandError;
use plan::painted::PaintError;
use plan::{LoadError, Painted, Plan};

/// No plan, spool file or machine file is anywhere near this long.
pub const LONGEST_TEXT: u64 = 16 << 20;

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

/// Why a plan could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// A file is missing, unreadable, or wrong; the text names it, with line and column
    /// where there are any, and says what to do.
    #[error("{0}")]
    Input(String),
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl JobError {
    fn input(cause: impl ToString) -> Self {
        Self::Input(cause.to_string())
    }
}

impl Job {
    /// Reads a plan file, the files that it names, and its mesh; all beside the plan.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn open(path: &Path, progress: &Progress) -> Result<Self, JobError> {
        progress.stage("Reading the plan");
        let plan = read_plan(path)?;
        let mesh_path = beside(path, &plan.mesh.file);
        let mut options = plan.mesh.place.read_options();
        options.progress = progress.clone();
        let reading = read_mesh(&mesh_path, &options).map_err(|error| match error.problem {
            geometry::read::Problem::Cancelled(stop) => JobError::Cancelled(stop),
            _ => JobError::input(error),
        })?;
        let in_plan = |cause: &dyn ToString| {
            JobError::Input(format!("{}: {}", path.display(), cause.to_string()))
        };
        let stood = plan
            .mesh
            .stand(reading, progress)
            .map_err(|error| match error {
                StandError::Cancelled(stop) => JobError::Cancelled(stop),
                error => in_plan(&error),
            })?;
        let model = plan.model();
        let surface = Surface::new(Arc::new(stood.mesh));
        let painted =
            Painted::new(plan, surface, model, progress).map_err(|error| match error {
                PaintError::Cancelled(stop) => JobError::Cancelled(stop),
                error => in_plan(&error),
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

/// Reads a plan file and the spool and machine files that it names.
///
/// # Errors
/// [`JobError::Input`] with file, line, column, what is wrong and what to do.
pub fn read_plan(path: &Path) -> Result<Plan, JobError> {
    let text =
        read_text(path).map_err(|why| JobError::Input(format!("{}: {why}", path.display())))?;
    Plan::load(&text, |file| read_text(&beside(path, file))).map_err(|error| match error {
        LoadError::Text(error) => JobError::input(error.in_file(&path.display().to_string())),
        error => JobError::input(error),
    })
}

/// Reads a text file whole, or says in words why not.
///
/// # Errors
/// A clause that goes on from the file's name.
pub fn read_text(path: &Path) -> Result<String, String> {
    let data = fs::metadata(path).map_err(|e| format!("can't be read: {e}"))?;
    if !data.is_file() {
        return Err("is a folder or a device, not a file".to_owned());
    }
    if data.len() > LONGEST_TEXT {
        let most = LONGEST_TEXT >> 20;
        return Err(format!(
            "is more than {most} MiB long; no such text file is; is it a mesh?"
        ));
    }
    let bytes = fs::read(path).map_err(|e| format!("can't be read: {e}"))?;
    let text =
        String::from_utf8(bytes).map_err(|error| not_text(error.as_bytes(), error.utf8_error()))?;
    // What some editors put before UTF-8 text says nothing.
    Ok(text
        .strip_prefix('\u{feff}')
        .map(str::to_owned)
        .unwrap_or(text))
}

/// Where a file stops being UTF-8 text.
fn not_text(bytes: &[u8], error: std::str::Utf8Error) -> String {
    let good = bytes.get(..error.valid_up_to()).unwrap_or(bytes);
    let line = good.iter().filter(|b| **b == b'\n').count() + 1;
    let start = good.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    let column = String::from_utf8_lossy(good.get(start..).unwrap_or(&[]))
        .chars()
        .count()
        + 1;
    format!(
        "line {line}, column {column}: this is no UTF-8 text; save the file as UTF-8, or check \
         that it is the right file"
    )
}

/// A file named in a plan, as seen from here.
pub fn beside(plan: &Path, file: &str) -> PathBuf {
    plan.parent().unwrap_or(Path::new("")).join(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_16_mib_are_read_and_longer_ones_are_not() {
        let file = tempfile::NamedTempFile::new().unwrap();
        file.as_file().set_len(LONGEST_TEXT).unwrap();
        assert_eq!(read_text(file.path()).unwrap().len() as u64, 16 << 20);
        file.as_file().set_len(LONGEST_TEXT + 1).unwrap();
        let why = read_text(file.path()).unwrap_err();
        assert!(why.contains("more than 16 MiB long"), "{why}");
    }
}
