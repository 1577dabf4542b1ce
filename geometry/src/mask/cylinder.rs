//! Inside a round cylinder between two points of its axis, or on it.

use glam::DVec3;

use super::MaskError;
use super::values::{finite_point, positive};

pub(super) fn check(from_mm: DVec3, to_mm: DVec3, radius_mm: f64) -> Result<(), MaskError> {
    finite_point("from_mm", from_mm)?;
    finite_point("to_mm", to_mm)?;
    positive("radius_mm", radius_mm)?;
    match from_mm.distance_squared(to_mm) > 0.0 {
        true => Ok(()),
        false => Err(MaskError::NoAxis { at: from_mm }),
    }
}

pub(super) fn contains(from_mm: DVec3, to_mm: DVec3, radius_mm: f64, point: DVec3) -> bool {
    let axis = to_mm - from_mm;
    let whole = axis.length_squared();
    let along = (point - from_mm).dot(axis);
    let foot = from_mm + axis * (along / whole);
    (0.0..=whole).contains(&along) && foot.distance_squared(point) <= radius_mm * radius_mm
}

/// Least and greatest height of the cylinder: its end discs lean, each by the radius times
/// the sine of the axis' angle from upright.
pub(super) fn heights(from_mm: DVec3, to_mm: DVec3, radius_mm: f64) -> (f64, f64) {
    let axis = to_mm - from_mm;
    let lean = radius_mm * (axis.truncate().length() / axis.length());
    (from_mm.z.min(to_mm.z) - lean, from_mm.z.max(to_mm.z) + lean)
}

/// How far off its skin is at least, mm.
pub(super) fn clearance_mm(from_mm: DVec3, to_mm: DVec3, radius_mm: f64, point: DVec3) -> f64 {
    let axis = to_mm - from_mm;
    let length = axis.length();
    let along = (point - from_mm).dot(axis) / length;
    let off_axis = (from_mm + axis * (along / length)).distance(point);
    // Beyond the ends and beyond the side, or within them where it is negative.
    (-along).max(along - length).max(off_axis - radius_mm).abs()
}
