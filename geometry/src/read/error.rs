//! Why a mesh file could not be read.

use std::io;
use std::path::PathBuf;

use super::Format;
use crate::Cancelled;

/// A mesh file that could not be read.
#[derive(Debug, thiserror::Error)]
#[error("{}: {problem}", file.display())]
pub struct ReadError {
    /// The file.
    pub file: PathBuf,
    /// Why.
    pub problem: Problem,
}

/// Why a mesh file could not be read; a clause that goes on from the file's name.
#[derive(Debug, thiserror::Error)]
pub enum Problem {
    /// The file system said no.
    #[error("cannot be read: {0}")]
    Io(#[from] io::Error),
    /// A folder or device.
    #[error("is a folder or a device, not a file")]
    NotAFile,
    /// Nothing in it.
    #[error("is empty")]
    Empty,
    /// Not a format known here.
    #[error("is not a mesh file that can be read (STL, OBJ, PLY, OFF, 3MF or glTF): {0}")]
    Unknown(String),
    /// It is one of the formats, but broken.
    #[error("is a broken {format} file: {what}")]
    Broken {
        /// The format.
        format: Format,
        /// What is wrong, and where.
        what: String,
    },
    /// It asks for more than is given to any file.
    #[error("is refused: {0}")]
    Refused(String),
    /// No facet, or none with three corners apart.
    #[error("has no facets, so there is nothing to print")]
    NoFacets,
    /// It has facets, but all of them are left out.
    #[error("has nothing to print: {0}")]
    AllLeftOut(String),
    /// An option made no sense.
    #[error("was not read: {0}")]
    Options(String),
    /// Cancelled.
    #[error("was not read: {0}")]
    Cancelled(#[from] Cancelled),
}

impl Problem {
    pub(super) fn broken(format: Format, what: impl Into<String>) -> Self {
        Self::Broken {
            format,
            what: what.into(),
        }
    }
}
