//! Why there is no hand-off, or none that could be checked.

use geometry::Cancelled;
use project::write::WriteError;

use crate::prepare::PrepareError;

/// Why nothing was handed off.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// What goes into it could not be made.
    #[error(transparent)]
    Prepare(#[from] PrepareError),
    /// A file of the plan can't be taken along.
    #[error("{0}")]
    Source(String),
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
    #[error("{0}")]
    Refused(String),
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
