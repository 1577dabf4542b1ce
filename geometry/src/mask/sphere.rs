//! Inside a sphere, or on it.

use glam::DVec3;

use super::MaskError;
use super::values::{finite_point, positive};

pub(super) fn check(centre_mm: DVec3, radius_mm: f64) -> Result<(), MaskError> {
    finite_point("centre_mm", centre_mm)?;
    positive("radius_mm", radius_mm)
}

pub(super) fn contains(centre_mm: DVec3, radius_mm: f64, point: DVec3) -> bool {
    centre_mm.distance_squared(point) <= radius_mm * radius_mm
}

/// How far off its skin is, mm.
pub(super) fn clearance_mm(centre_mm: DVec3, radius_mm: f64, point: DVec3) -> f64 {
    (centre_mm.distance(point) - radius_mm).abs()
}
