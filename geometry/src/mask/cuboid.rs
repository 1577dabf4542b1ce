//! Inside a box with sides along the axes, or on it.

use glam::DVec3;

use super::MaskError;
use super::values::{finite_point, rising};

pub(super) fn check(min_mm: DVec3, max_mm: DVec3) -> Result<(), MaskError> {
    finite_point("min_mm", min_mm)?;
    finite_point("max_mm", max_mm)?;
    rising("min_mm.x", min_mm.x, "max_mm.x", max_mm.x)?;
    rising("min_mm.y", min_mm.y, "max_mm.y", max_mm.y)?;
    rising("min_mm.z", min_mm.z, "max_mm.z", max_mm.z)
}

pub(super) fn contains(min_mm: DVec3, max_mm: DVec3, point: DVec3) -> bool {
    point.cmpge(min_mm).all() && point.cmple(max_mm).all()
}

/// How far off its skin is at least, mm.
pub(super) fn clearance_mm(min_mm: DVec3, max_mm: DVec3, point: DVec3) -> f64 {
    // Beyond each pair of sides, or within it where it is negative.
    (min_mm - point).max(point - max_mm).max_element().abs()
}
