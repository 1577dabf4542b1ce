//! A mesh that was read, mended if the plan says so, looked over, and stood on the bed.

use std::sync::Arc;

use geometry::inspect::{Finding, Inspection, Severity};
use geometry::mend::{MendError, close_cracks, closed_cracks, mend};
use geometry::place::PlaceError;
use geometry::read::Reading;
use geometry::{Cancelled, Mesh, Progress, Surface};

use super::MeshSource;

/// A part on the bed, and what a person should know about it.
#[derive(Clone, Debug)]
pub struct Stood {
    /// Its skin as it stands.
    pub surface: Surface,
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
        if self.mend {
            let mended = mend(&mesh, progress)?;
            mesh = mended.mesh;
            notes.extend(
                mended
                    .done
                    .into_iter()
                    .map(|what| format!("Mended: {what}")),
            );
            return Ok(Stood {
                surface: self.placed(mesh)?,
                notes,
                findings: Vec::new(),
            });
        }
        progress.stage("Inspecting the mesh");
        let (mut seen, mut surface) = self.inspected(&mesh);
        if !seen.is_closed()
            && let Some((closed, count)) = close_cracks(&mesh)
        {
            mesh = closed;
            notes.push(closed_cracks(count));
            (seen, surface) = self.inspected(&mesh);
        }
        progress.check()?;
        let surface = surface?;
        if seen.shells.len() == 1 {
            surface.has_one_shell();
        }
        let mut findings = seen.findings();
        findings.retain(|f| f.severity > Severity::Note);
        Ok(Stood {
            surface,
            notes,
            findings,
        })
    }

    /// Looks a mesh over as it was read, and stands it on the bed beside that.
    fn inspected(&self, mesh: &Mesh) -> (Inspection, Result<Surface, PlaceError>) {
        rayon::join(|| Inspection::of(mesh), || self.placed(mesh.clone()))
    }

    fn placed(&self, mesh: Mesh) -> Result<Surface, PlaceError> {
        Ok(Surface::new(Arc::new(self.place.apply(mesh)?)))
    }
}
