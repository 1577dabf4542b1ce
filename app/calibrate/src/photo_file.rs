//! A photograph from its file.

use std::fs;
use std::path::Path;

use photograph::{Photo, PhotoError};
use plan::document::sha256_hex;

/// A photograph, and the file that it was read from.
pub struct PhotoFile {
    /// The file's name, without its folder.
    pub name: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// What is in it.
    pub photo: Photo,
}

impl PhotoFile {
    /// Reads it, in colour.
    ///
    /// # Errors
    /// Which file it is, what is wrong with it, and what to do.
    pub fn read(file: &Path) -> Result<Self, String> {
        Self::read_by(file, Photo::read)
    }

    /// Reads it, without colour.
    ///
    /// # Errors
    /// As [`PhotoFile::read`].
    pub fn read_grey(file: &Path) -> Result<Self, String> {
        Self::read_by(file, Photo::read_grey)
    }

    fn read_by(file: &Path, read: fn(&[u8]) -> Result<Photo, PhotoError>) -> Result<Self, String> {
        let at = file.display();
        let bytes = fs::read(file).map_err(|why| format!("{at}: can't be read: {why}"))?;
        // What is wrong with a picture goes on from its name.
        let photo = read(&bytes).map_err(|why| format!("{at}: {why}"))?;
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        Ok(Self {
            name: name.into_owned(),
            sha256: sha256_hex(&bytes),
            photo,
        })
    }
}
