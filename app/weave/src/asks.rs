//! What a stretch of a move asks for.

use plan::schedule::RegionStep;

/// What a stretch of a move asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Asks {
    /// This region step of its layer.
    RegionStep(RegionStep),
    /// Nothing: it is never seen.
    Free,
}
