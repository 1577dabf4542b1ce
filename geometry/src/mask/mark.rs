//! A stroke with what it does.

use std::sync::Arc;

use super::PreparedStroke;

/// A stroke that paints or erases.
#[derive(Clone)]
pub struct Mark {
    /// Whether it takes away what lies under it.
    pub erases: bool,
    /// The stroke.
    pub stroke: Arc<PreparedStroke>,
}
