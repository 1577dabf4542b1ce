//! Why something can't be signed.

use std::io;
use std::path::PathBuf;

use plan::TextError;

use crate::text_file::TextFileError;
use crate::write::WriteError;

/// Why something can't be signed, or its signatures can't be read.
#[derive(Debug, thiserror::Error)]
pub enum SignoffError {
    /// The file of signatures can't be read.
    #[error("{}: {source}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: TextFileError,
    },
    /// The file of signatures is wrong.
    #[error(transparent)]
    Signatures(#[from] TextError),
    /// A file that is to be signed can't be read again.
    #[error("{}: can't be read to sign it: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Nobody signs.
    #[error("a signature needs a name: write --name \"Your Name\"")]
    NoName,
    /// It is sent back without a reason.
    #[error("say what has to change: write --note \"…\" with --send-back")]
    NoReason,
    /// The name or the note is none.
    #[error("{0}")]
    Words(&'static str),
    /// The signatures can't be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The signatures can't be put into words: a fault of this program.
    #[error("the signature can't be written: {0}")]
    Text(#[from] ron::Error),
    /// The plan has no hash: a fault of this program.
    #[error(transparent)]
    Hash(#[from] plan::document::HashError),
}
