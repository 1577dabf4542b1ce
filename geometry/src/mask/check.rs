//! What a mask's values must be, and what is said when they are not.

use super::values::{finite_point, positive};
use super::{Mask, MaskError, Stroke, band, crease, cuboid, cylinder, shell, slab, sphere};

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
            Mask::Connected { within, .. } => {
                self.check_alone()?;
                check_parts("Connected", std::slice::from_ref(within))
            }
            Mask::Smoothed { of, .. } => {
                self.check_alone()?;
                check_parts("Smoothed", std::slice::from_ref(of))
            }
            alone => alone.check_alone(),
        }
    }

    /// Every fault of the mask: those of all masks within it.
    pub fn faults(&self) -> Vec<MaskError> {
        let (combination, parts) = match self {
            Mask::All(parts) => ("All", parts.as_slice()),
            Mask::Any(parts) => ("Any", parts.as_slice()),
            Mask::Not(part) => ("Not", std::slice::from_ref(&**part)),
            Mask::Connected { within, .. } => ("Connected", std::slice::from_ref(&**within)),
            Mask::Smoothed { of, .. } => ("Smoothed", std::slice::from_ref(&**of)),
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
        self.check_alone().err().into_iter().chain(faults).collect()
    }

    /// What a mask says itself, without those that it holds.
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
            Mask::Flat { near_mm, angle_deg } => crease::check(*near_mm, *angle_deg),
            Mask::Outline(outline) => outline.check(),
            Mask::Stroke(stroke) => stroke.check(),
            Mask::Picture(picture) => picture.check(),
            Mask::Text(letters) => letters.check(),
            Mask::Colour(colour) => colour.check(),
            Mask::Connected { near_mm, .. } if near_mm.is_empty() => Err(MaskError::NoPlaces),
            Mask::Connected { near_mm, .. } => near_mm
                .iter()
                .try_for_each(|&place| finite_point("near_mm", place)),
            Mask::Smoothed { by_mm, .. } => positive("by_mm", *by_mm),
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
