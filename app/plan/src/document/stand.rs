//! A mesh that was read, mended if the plan says so, looked over, and stood on the bed.

use geometry::inspect::{Finding, Inspection, Severity};
use geometry::mend::{MendError, close_cracks, closed_cracks, mend};
use geometry::place::PlaceError;
use geometry::read::Reading;
use geometry::{Cancelled, Mesh, Progress};

use super::MeshSource;

/// A part on the bed, and what a person should know about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Stood {
    /// The mesh as it stands.
    pub mesh: Mesh,
    /// How it was read, and what was mended.
    pub notes: Vec<String>,
    /// What is wrong with it and was not mended, the gravest first, with places in the file's
    /// own coordinates; empty for a sound mesh.
    pub findings: Vec<Finding>,
}

/// Why a mesh can't be stood on the bed as its plan says.
#[derive(Debug, thiserror::Error)]
pub enum StandError {
    /// It can't be placed.
    #[error(transparent)]
    Place(PlaceError),
    /// It can't be mended.
    #[error("the mesh can't be mended: {0}")]
    Mend(#[source] MendError),
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl From<PlaceError> for StandError {
    fn from(error: PlaceError) -> Self {
        Self::Place(error)
    }
}

impl From<MendError> for StandError {
    fn from(error: MendError) -> Self {
        match error {
            MendError::Cancelled(cancelled) => Self::Cancelled(cancelled),
            other => Self::Mend(other),
        }
    }
}

impl MeshSource {
    /// Mends a mesh if the plan says so, looks it over, and stands it on the bed.
    ///
    /// # Errors
    /// [`StandError`].
    pub fn stand(&self, reading: Reading, progress: &Progress) -> Result<Stood, StandError> {
        let Reading {
            mut mesh,
            mut notes,
            ..
        } = reading;
        let mut findings = Vec::new();
        if self.mend {
            let mended = mend(&mesh, progress)?;
            mesh = mended.mesh;
            notes.extend(
                mended
                    .done
                    .into_iter()
                    .map(|what| format!("Mended: {what}")),
            );
        } else {
            progress.stage("Inspecting the mesh");
            let mut seen = Inspection::of(&mesh);
            if !seen.is_closed()
                && let Some((closed, count)) = close_cracks(&mesh)
            {
                mesh = closed;
                notes.push(closed_cracks(count));
                seen = Inspection::of(&mesh);
            }
            findings = seen.findings();
            findings.retain(|f| f.severity > Severity::Note);
            progress.check()?;
        }
        Ok(Stood {
            mesh: self.place.apply(mesh)?,
            notes,
            findings,
        })
    }
}
