//! Why a photograph of a part can't be read.

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

pub(super) fn refused<T>(why: impl Into<String>) -> Result<T, FinishedError> {
    Err(FinishedError::Refused(why.into()))
}
