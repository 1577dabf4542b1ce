//! Why there is no sheet.

use geometry::Cancelled;

/// Why there is no sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The picture would not fit in memory.
    #[error("the sheet is too large for a picture; use a smaller scale")]
    TooLarge,
}
