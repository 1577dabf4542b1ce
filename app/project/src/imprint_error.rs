//! Why a picture, a font or a coloured model can't be used.

use std::io;
use std::path::PathBuf;

use colours::ColoursError;
use geometry::Cancelled;
use geometry::read::Problem;
use picture::{LineError, PictureError};

/// No picture for a part, and no font, is anywhere near this long, bytes.
pub(crate) const LONGEST_FILE: u64 = 64 << 20;

/// Why a picture, a font or a coloured model can't be used: a clause that goes on from the file's
/// name.
#[derive(Debug, thiserror::Error)]
pub enum ImprintError {
    /// The system says no.
    #[error("can't be read: {0}")]
    Io(#[from] io::Error),
    /// There is something else in its place.
    #[error("is a folder or a device, not a file")]
    NoFile,
    /// It is too long.
    #[error("is more than {} MiB long; make it smaller", LONGEST_FILE >> 20)]
    TooLong,
    /// It is not what the plan means.
    #[error(
        "is not the file that the plan names by its SHA-256: it has {is}; put the old file back, \
         or remove sha256 from the plan to use this one"
    )]
    OtherContent {
        /// The hash of what is there.
        is: String,
    },
    /// It is no picture.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// It is sorted by too many lists of colours.
    #[error(
        "is laid on the part with too many lists of colours for its size; use one list, or make \
         the picture smaller"
    )]
    TooManyLists,
    /// It is no font, or the font lacks letters.
    #[error(transparent)]
    Line(#[from] LineError),
    /// It is no mesh.
    #[error("{0}")]
    Model(Problem),
    /// It is no coloured model.
    #[error("{0}")]
    Colours(ColoursError),
    /// The plan says nothing of a file that the model's colours are in.
    #[error(
        "is a file that the model's colours are in, but the plan does not name it; add it to \
         `with`: (file: \"{name}\", sha256: \"{is}\")"
    )]
    NotNamed {
        /// Its name, relative to the model's folder.
        name: String,
        /// The hash of what is there.
        is: String,
    },
    /// It was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// A file, and why it can't be used.
pub(crate) type Fault = (PathBuf, ImprintError);
