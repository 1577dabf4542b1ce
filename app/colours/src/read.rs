//! A coloured model from its file.

use std::path::Path;
use std::sync::Arc;

use geometry::place::{PlaceError, Placement};
use geometry::read::{ReadError, Reading, read_mesh};
use geometry::{Progress, Surface};

use crate::Model;

/// Why a file's colours can't be had: a clause that goes on from the file's name, but for those of
/// reading.
#[derive(Debug, thiserror::Error)]
pub enum ColoursError {
    /// The mesh can't be read.
    #[error(transparent)]
    Mesh(#[from] ReadError),
    /// It can't be set on the bed.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// It says nothing of colours.
    #[error(
        "has no colours; export the model with its textures, vertex colours or materials, as GLB, \
         PLY, OBJ with MTL, or 3MF"
    )]
    None,
}

/// Reads a mesh with its colours, and sets it on the bed.
///
/// # Errors
/// [`ColoursError`].
pub fn read_model(
    path: &Path,
    place: &Placement,
    progress: &Progress,
) -> Result<(Model, Reading), ColoursError> {
    let mut options = place.read_options();
    options.appearance = true;
    options.progress = progress.clone();
    let mut reading = read_mesh(path, &options)?;
    let appearance = reading.appearance.take().ok_or(ColoursError::None)?;
    let mesh = place.apply(reading.mesh.clone())?;
    let model = Model::new(Surface::new(Arc::new(mesh)), appearance);
    Ok((model, reading))
}
