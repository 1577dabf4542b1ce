//! Reads a picture that is to lie on the part.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use geometry::Progress;
use geometry::imprint::Raster;

use super::Stop;

/// A picture, read.
#[derive(Clone, Debug)]
pub struct PictureRead {
    /// Its file.
    pub file: PathBuf,
    /// The SHA-256 of the file's bytes.
    pub sha256: String,
    /// Its greys.
    pub raster: Arc<Raster>,
}

/// Reads it.
///
/// # Errors
/// [`Stop`] in words that name the file.
pub fn run(file: &Path, _: &Progress) -> Result<PictureRead, Stop> {
    let file = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    let read = project::pictures::read_picture(&file);
    let (raster, sha256) = read.map_err(|why| Stop::Failed(format!("{} {why}", file.display())))?;
    Ok(PictureRead {
        file,
        sha256,
        raster: Arc::new(raster),
    })
}
