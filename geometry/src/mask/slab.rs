//! As a band, but along any direction.

use glam::DVec3;

use super::span::Span;
use super::values::unit;
use super::{MaskError, band};
use crate::Surface;

/// What rounding may do to a place along a direction, as a share of the farthest vertex's distance
/// from the origin.
const ROUNDING: f64 = 1e-12;

/// The corners of a sloping face lie this much off its plane, mm, or less: a file's
/// single-precision coordinates are good to about this much.
const SINGLE_MM: f64 = 1e-4;

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
        let (low, high) = surface.bounds_mm();
        let rounding_mm = ROUNDING * low.abs().max(high.abs()).length();
        // Level ends are cut exactly.
        let off_mm = match heights(direction, from_mm, to_mm) {
            Some(_) => rounding_mm,
            None => rounding_mm.max(SINGLE_MM),
        };
        Ok(Self {
            direction,
            span: Span::new(from_mm, to_mm, part).drawn_down(off_mm),
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

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::solids;
    use proptest::prelude::*;

    proptest! {
        /// A face that lies where a slab ends is in it or out of it as a whole, although the
        /// file's single-precision corners lie off the plane.
        #[test]
        fn a_face_at_an_end_is_of_one_kind(
            turn in 0.0..6.3f64,
            tilt in 0.1..3.0f64,
            apart in -200.0..200.0f64,
            points in prop::collection::vec((0.0..1.0f64, 0.0..1.0f64), 40),
        ) {
            let turned = glam::DQuat::from_rotation_z(turn) * glam::DQuat::from_rotation_x(tilt);
            let single = |p: DVec3| p.as_vec3().as_dvec3();
            let block = solids::cuboid(DVec3::new(20.0, 30.0, 40.0)).expect("a block");
            let block = block.map(|p| single(turned * p + DVec3::splat(apart))).expect("a block");
            // The side at which y is least, in the block's own coordinates.
            let direction = turned * DVec3::Y;
            let place_mm = DVec3::splat(apart).dot(direction) - 15.0;
            let corner = |x: f64, z: f64| single(turned * DVec3::new(x, -15.0, z) + DVec3::splat(apart));
            let surface = Surface::new(Arc::new(block));
            let slab = |from_mm, to_mm| Slab::new(direction, from_mm, to_mm, &surface).expect("a slab");
            let (within, before) = (slab(place_mm, place_mm + 9.0), slab(place_mm - 9.0, place_mm));
            let [a, b, c] = [corner(-10.0, 0.0), corner(10.0, 0.0), corner(-10.0, 40.0)];
            for (u, w) in points {
                let point = a + (b - a) * u + (c - a) * w;
                prop_assert!(within.contains(point), "{point}");
                prop_assert!(!before.contains(point), "{point}");
            }
        }
    }
}
