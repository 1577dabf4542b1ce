//! What you can do with the section plane.

use emath::Pos2;
use geometry::DVec3;

use crate::model::section::Across;

/// Something that you can do with the section plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cutting {
    /// Choose what it lies across, and cut the part open there.
    Across(Across),
    /// The next direction.
    Next,
    /// Cut the other side away.
    Flip,
    /// Move it to a place, mm along its direction.
    To(f64),
    /// Move it by hundredths of the part.
    Step(i32),
    /// Set its direction.
    Direction(DVec3),
    /// Lay it along the facet at a place of the stage.
    AlongFacet(Pos2),
}
