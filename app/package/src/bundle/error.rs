//! Why there is no hand-off, or none that could be checked.

use std::io;
use std::path::PathBuf;

use geometry::Cancelled;
use plan::TextError;
use project::text_file::TextFileError;
use project::write::WriteError;
use zip::result::ZipError;

use super::manifest::{MANIFEST, MOST_FILES};
use crate::prepare::PrepareError;

/// Why nothing was handed off.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// What goes into it could not be made.
    #[error(transparent)]
    Prepare(#[from] PrepareError),
    /// A file that the plan names would lie outside of the hand-off.
    #[error(
        "{}: it names '{file}', which can't go into a hand-off; move that file beside the plan and \
         name it without folders", plan.display()
    )]
    Outside {
        /// The plan.
        plan: PathBuf,
        /// The file.
        file: String,
    },
    /// It would hold more files than a hand-off may.
    #[error(
        "the hand-off would hold {0} files, and {MOST_FILES} are the most; hand over fewer records of \
         prints"
    )]
    TooMany(usize),
    /// An open format can't be put together: a fault of this program.
    #[error("{name} can't be made: {source}")]
    Format {
        /// The file.
        name: &'static str,
        /// Why.
        source: io::Error,
    },
    /// The manifest can't be put into words: a fault of this program.
    #[error("the manifest can't be written: {0}")]
    Manifest(#[from] ron::Error),
    /// It can't be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Why a hand-off could not be checked at all.
#[derive(Debug, thiserror::Error)]
pub enum CheckError {
    /// It is not there, is none, or must not be trusted.
    #[error("{}: {why}", path.display())]
    Refused {
        /// The folder or file.
        path: PathBuf,
        /// Why.
        #[source]
        why: Refusal,
    },
    /// Its manifest is wrong.
    #[error(transparent)]
    Manifest(TextError),
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Why a folder or file is refused, as a clause that goes on from its name.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// Nothing is there.
    #[error("this folder or file does not exist")]
    Missing,
    /// It has no manifest that could be read.
    #[error("its {MANIFEST} {0}; is it a hand-off?")]
    NoManifest(#[source] TextFileError),
    /// It can't be read.
    #[error("can't be read: {0}")]
    Unreadable(#[source] io::Error),
    /// It is no ZIP file, or only a part of one.
    #[error("is not a complete ZIP file: {0}")]
    NotZip(#[source] ZipError),
    /// It holds more files than any hand-off.
    #[error("holds {0} files; a hand-off holds {MOST_FILES} at most")]
    TooMany(usize),
    /// Of two files of one name the archive's reader shows the last alone.
    #[error("two files in it have the same name")]
    TwoOfOneName,
    /// Files share bytes.
    #[error("the files in it overlap, so it may be malicious; don't use it")]
    Overlap,
    /// There is no folder to unpack it into.
    #[error("can't be unpacked: {0}")]
    NoFolder(#[source] io::Error),
    /// A file in it is damaged.
    #[error("is damaged: {0}")]
    Damaged(#[source] ZipError),
    /// A file in it has no name.
    #[error("has a name that is not text: {0}")]
    NoName(#[source] ZipError),
    /// It is a link, or points out of the hand-off.
    #[error("'{0}' in it is a link or lies outside of it")]
    NotPlain(String),
    /// It grows without measure.
    #[error("unpacks to more than {0} times its size, which no hand-off does")]
    Expands(u64),
    /// A file in it can't be written.
    #[error("'{name}' in it can't be unpacked: {source}")]
    File {
        /// The file.
        name: String,
        /// What the system says.
        source: io::Error,
    },
}
