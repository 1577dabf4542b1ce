//! What a mask's values must be, and what is said when they are not.

use glam::DVec3;

use super::{Mask, Stroke, band, crease, cuboid, cylinder, shell, slab, sphere};
use crate::Cancelled;

/// Why a mask cannot be used. The words say what is wrong and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MaskError {
    /// Infinite, or not a number.
    #[error("{name} is not a finite number; give it a length or angle")]
    NotFinite {
        /// The field.
        name: &'static str,
    },
    /// A length that must be above zero is not.
    #[error("{name} is {value}; it must be greater than 0")]
    NotPositive {
        /// The field.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// The lower end is not below the upper.
    #[error("{lower} is {from} and {upper} is {to}; {lower} must be the smaller of the two")]
    NotRising {
        /// The field that must be smaller.
        lower: &'static str,
        /// Its value.
        from: f64,
        /// The field that must be greater.
        upper: &'static str,
        /// Its value.
        to: f64,
    },
    /// A direction of no length.
    #[error("the direction {direction} points nowhere; for example (0, 0, 1) points up")]
    NoDirection {
        /// As given.
        direction: DVec3,
    },
    /// A cylinder whose axis has no length.
    #[error("the cylinder's axis begins and ends at {at}; give it two different ends")]
    NoAxis {
        /// Both ends.
        at: DVec3,
    },
    /// A crease angle outside `0..=180`.
    #[error("angle_deg is {value}; it must be between 0 and 180")]
    Angle {
        /// As given.
        value: f64,
    },
    /// A stroke without dabs.
    #[error("the stroke has no dabs; give it at least one point, or remove it")]
    NoDabs,
    /// The mesh file has no object or group of this name.
    #[error("no object or group is named '{name}'; {known}")]
    NoSuchObject {
        /// As given.
        name: String,
        /// What there is, in words.
        known: String,
    },
    /// `All` or `Any` of nothing.
    #[error("{combination} holds no masks; put at least one in, or remove it")]
    NoParts {
        /// `All` or `Any`.
        combination: &'static str,
    },
    /// A mask within a mask is at fault.
    #[error("mask {number} in {combination}: {error}")]
    Within {
        /// `All`, `Any` or `Not`.
        combination: &'static str,
        /// Which one, counted from 1.
        number: usize,
        /// What is wrong with it.
        error: Box<MaskError>,
    },
    /// Distances along the skin about a stroke would take more memory than they may.
    #[error(
        "the skin about the stroke is made of too many thin facets to measure along it; \
         make radius_mm or reach_mm smaller, or mend the mesh"
    )]
    TooInvolved,
    /// The work was told to stop.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Mask {
    /// Whether every value makes sense by itself, without a part.
    ///
    /// ```
    /// use geometry::Mask;
    /// let band = Mask::Band { from_mm: 20.0, to_mm: 5.0 };
    /// let error = Mask::Not(Box::new(band)).check().unwrap_err();
    /// assert_eq!(
    ///     error.to_string(),
    ///     "mask 1 in Not: from_mm is 20 and to_mm is 5; \
    ///      from_mm must be the smaller of the two"
    /// );
    /// ```
    ///
    /// # Errors
    /// [`MaskError`] for the first value that does not.
    pub fn check(&self) -> Result<(), MaskError> {
        match self {
            Mask::All(parts) => check_parts("All", parts),
            Mask::Any(parts) => check_parts("Any", parts),
            Mask::Not(part) => check_parts("Not", std::slice::from_ref(part)),
            alone => alone.check_alone(),
        }
    }

    /// Every fault of the mask: those of all masks within it.
    pub fn faults(&self) -> Vec<MaskError> {
        let (combination, parts) = match self {
            Mask::All(parts) => ("All", parts.as_slice()),
            Mask::Any(parts) => ("Any", parts.as_slice()),
            Mask::Not(part) => ("Not", std::slice::from_ref(&**part)),
            alone => return alone.check_alone().err().into_iter().collect(),
        };
        if parts.is_empty() {
            return vec![MaskError::NoParts { combination }];
        }
        let faults = parts.iter().enumerate().flat_map(|(i, part)| {
            part.faults()
                .into_iter()
                .map(move |error| MaskError::Within {
                    combination,
                    number: i + 1,
                    error: Box::new(error),
                })
        });
        faults.collect()
    }

    /// A mask that holds no others.
    fn check_alone(&self) -> Result<(), MaskError> {
        match self {
            Mask::Whole => Ok(()),
            Mask::Band { from_mm, to_mm } => band::check(*from_mm, *to_mm),
            Mask::Slab {
                direction,
                from_mm,
                to_mm,
            } => slab::check(*direction, *from_mm, *to_mm),
            Mask::Sphere {
                centre_mm,
                radius_mm,
            } => sphere::check(*centre_mm, *radius_mm),
            Mask::Box { min_mm, max_mm } => cuboid::check(*min_mm, *max_mm),
            Mask::Cylinder {
                from_mm,
                to_mm,
                radius_mm,
            } => cylinder::check(*from_mm, *to_mm, *radius_mm),
            Mask::Shell { near_mm } => shell::check(*near_mm),
            Mask::Object(_) => Ok(()),
            Mask::Crease { near_mm, angle_deg } => crease::check(*near_mm, *angle_deg),
            Mask::Stroke(stroke) => stroke.check(),
            Mask::All(_) | Mask::Any(_) | Mask::Not(_) => Ok(()),
        }
    }
}

impl Stroke {
    /// Whether every value makes sense.
    ///
    /// # Errors
    /// [`MaskError`] for the first value that does not.
    pub fn check(&self) -> Result<(), MaskError> {
        if self.dabs_mm.is_empty() {
            return Err(MaskError::NoDabs);
        }
        for &dab in &self.dabs_mm {
            finite_point("dabs_mm", dab)?;
        }
        positive("radius_mm", self.radius_mm)?;
        match self.reach_mm {
            Some(reach) => positive("reach_mm", reach),
            None => Ok(()),
        }
    }
}

fn check_parts(combination: &'static str, parts: &[Mask]) -> Result<(), MaskError> {
    if parts.is_empty() {
        return Err(MaskError::NoParts { combination });
    }
    for (i, part) in parts.iter().enumerate() {
        part.check().map_err(|error| MaskError::Within {
            combination,
            number: i + 1,
            error: Box::new(error),
        })?;
    }
    Ok(())
}

pub(super) fn finite(name: &'static str, value: f64) -> Result<(), MaskError> {
    match value.is_finite() {
        true => Ok(()),
        false => Err(MaskError::NotFinite { name }),
    }
}

pub(super) fn finite_point(name: &'static str, value: DVec3) -> Result<(), MaskError> {
    match value.is_finite() {
        true => Ok(()),
        false => Err(MaskError::NotFinite { name }),
    }
}

pub(super) fn positive(name: &'static str, value: f64) -> Result<(), MaskError> {
    finite(name, value)?;
    match value > 0.0 {
        true => Ok(()),
        false => Err(MaskError::NotPositive { name, value }),
    }
}

pub(super) fn rising(
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
