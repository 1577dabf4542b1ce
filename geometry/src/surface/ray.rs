//! A line of sight.

use glam::DVec3;

/// A line of sight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ray {
    /// Where it starts, mm.
    pub from_mm: DVec3,
    /// Where it goes, of any length.
    pub direction: DVec3,
}

impl Ray {
    /// The same ray with a direction of unit length; none if it has no direction or no start.
    pub(super) fn normalized(self) -> Option<Self> {
        let direction = self.direction.try_normalize()?;
        self.from_mm
            .is_finite()
            .then_some(Self { direction, ..self })
    }
}
