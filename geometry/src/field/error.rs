//! Why a field cannot be used.

use glam::DVec3;

use crate::Cancelled;
use crate::mask::MaskError;

/// Why a field cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FieldError {
    /// A direction of no length.
    #[error("the direction {direction} has no length; for example, (0, 0, 1) points up")]
    NoDirection {
        /// As given.
        direction: DVec3,
    },
    /// A point with a coordinate that is infinite or not a number.
    #[error("the point {point} has a coordinate that is not a finite number")]
    NotFinite {
        /// As given.
        point: DVec3,
    },
    /// The stroke is at fault.
    #[error(transparent)]
    Stroke(MaskError),
    /// The picture is at fault.
    #[error(transparent)]
    Picture(MaskError),
    /// The work was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl From<MaskError> for FieldError {
    fn from(error: MaskError) -> Self {
        match error {
            MaskError::Cancelled(cancelled) => Self::Cancelled(cancelled),
            other => Self::Stroke(other),
        }
    }
}
