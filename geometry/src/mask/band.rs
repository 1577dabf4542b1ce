//! Heights from one up to, but not including, another.

use super::MaskError;
use super::span::Span;
use super::values::{finite, rising};
use crate::Surface;

pub(super) fn check(from_mm: f64, to_mm: f64) -> Result<(), MaskError> {
    finite("from_mm", from_mm)?;
    finite("to_mm", to_mm)?;
    rising("from_mm", from_mm, "to_mm", to_mm)
}

pub(super) fn prepare(from_mm: f64, to_mm: f64, surface: &Surface) -> Span {
    let (lo, hi) = surface.bounds_mm();
    Span::new(from_mm, to_mm, (lo.z, hi.z))
}
