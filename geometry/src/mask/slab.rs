//! As a band, but along any direction.

use glam::DVec3;

use super::span::Span;
use super::{MaskError, band};
use crate::Surface;

/// What rounding may do to a place along a direction, as a share of the farthest place.
const ROUNDING: f64 = 1e-12;

/// A span along a unit direction.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slab {
    direction: DVec3,
    span: Span,
}

pub(super) fn check(direction: DVec3, from_mm: f64, to_mm: f64) -> Result<(), MaskError> {
    unit(direction)?;
    band::check(from_mm, to_mm)
}

/// The direction at length 1.
pub(super) fn unit(direction: DVec3) -> Result<DVec3, MaskError> {
    let largest = direction.abs().max_element();
    (direction / largest)
        .try_normalize()
        .ok_or(MaskError::NoDirection { direction })
}

impl Slab {
    pub(super) fn new(
        direction: DVec3,
        from_mm: f64,
        to_mm: f64,
        surface: &Surface,
    ) -> Result<Self, MaskError> {
        let direction = unit(direction)?;
        let places = surface.mesh().vertices().iter().map(|v| v.dot(direction));
        let part = places.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), place| {
            (lo.min(place), hi.max(place))
        });
        let reach = part.0.abs().max(part.1.abs());
        Ok(Self {
            direction,
            span: Span::new(from_mm, to_mm, part).drawn_down(ROUNDING * reach),
        })
    }

    pub(super) fn contains(&self, point: DVec3) -> bool {
        self.span.contains(self.direction.dot(point))
    }

    /// How far off its nearer plane is, mm.
    pub(super) fn clearance_mm(&self, point: DVec3) -> f64 {
        self.span.steady(self.direction.dot(point))
    }
}

/// Heights between which the slab lies, if it lies level.
pub(super) fn heights(direction: DVec3, from_mm: f64, to_mm: f64) -> Option<(f64, f64)> {
    let level = direction.x == 0.0 && direction.y == 0.0 && direction.z != 0.0;
    level.then_some(if direction.z > 0.0 {
        (from_mm, to_mm)
    } else {
        (-to_mm, -from_mm)
    })
}
