//! Why a photograph of a part can't be read.

use std::path::Path;

use geometry::Cancelled;

/// Why a photograph can't be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FinishedError {
    /// What is wrong with it, where, and what to do: a clause that goes on from the file's name.
    #[error("{0}")]
    Refused(String),
    /// It was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl FinishedError {
    /// The same of a file: what is refused begins with its name.
    pub(super) fn in_file(self, file: &Path) -> Self {
        match self {
            Self::Refused(why) => Self::Refused(format!("{}: {why}", file.display())),
            cancelled @ Self::Cancelled(_) => cancelled,
        }
    }
}

pub(super) fn refused<T>(why: impl Into<String>) -> Result<T, FinishedError> {
    Err(FinishedError::Refused(why.into()))
}
