//! What is laid over the part, and who draws it.

use geometry::SurfacePoint;

use crate::jobs::sketch::Sketcher;

/// What is laid over the part, and who draws it.
#[derive(Default)]
pub(super) struct Preview {
    /// Draws it, once something is to be laid over the part.
    pub(super) sketcher: Option<Sketcher>,
    /// Where the preview under the pointer was worked out last.
    pub(super) at: Option<SurfacePoint>,
    /// Whether the scene shows it.
    pub(super) hover: bool,
    /// Whether the scene shows a stroke being painted.
    pub(super) drawn: bool,
    /// The stroke is in the plan, and stays until the part itself has been redrawn.
    pub(super) waits: bool,
}
