//! What a mask's single values must be.

use glam::DVec3;

use super::MaskError;

pub(crate) fn finite(name: &'static str, value: f64) -> Result<(), MaskError> {
    match value.is_finite() {
        true => Ok(()),
        false => Err(MaskError::NotFinite { name }),
    }
}

pub(crate) fn finite_point(name: &'static str, value: DVec3) -> Result<(), MaskError> {
    match value.is_finite() {
        true => Ok(()),
        false => Err(MaskError::NotFinite { name }),
    }
}

pub(crate) fn positive(name: &'static str, value: f64) -> Result<(), MaskError> {
    finite(name, value)?;
    match value > 0.0 {
        true => Ok(()),
        false => Err(MaskError::NotPositive { name, value }),
    }
}

pub(crate) fn rising(
    lower: &'static str,
    from: f64,
    upper: &'static str,
    to: f64,
) -> Result<(), MaskError> {
    match from < to {
        true => Ok(()),
        false => Err(MaskError::NotRising {
            lower,
            from,
            upper,
            to,
        }),
    }
}

/// A direction at length 1.
pub(crate) fn unit(direction: DVec3) -> Result<DVec3, MaskError> {
    let largest = direction.abs().max_element();
    (direction / largest)
        .try_normalize()
        .ok_or(MaskError::NoDirection { direction })
}
