//! What plastic asks for.

use super::RegionStep;

/// What a place in a layer's plastic, or a stretch of it, asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Asks {
    /// This region step of its layer.
    RegionStep(RegionStep),
    /// Nothing: it is never seen.
    Free,
}
