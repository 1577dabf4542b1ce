//! The box in which a mask lies, without a part.

use glam::DVec3;

use super::{Mask, ModelColour, Stroke};
use crate::imprint::{Letters, Picture};

/// What a mask takes from a file.
pub enum Imprint<'a> {
    /// A picture.
    Picture(&'a mut Picture),
    /// A line of text.
    Letters(&'a mut Letters),
    /// A colour of a model.
    Colour(&'a mut ModelColour),
}

type Bounds = (DVec3, DVec3);

const ALL: Bounds = (DVec3::NEG_INFINITY, DVec3::INFINITY);
const NONE: Bounds = (DVec3::INFINITY, DVec3::NEG_INFINITY);

impl Mask {
    /// The mask that holds no point, as a region has that is painted only.
    pub fn nothing() -> Self {
        Self::Not(Box::new(Self::Whole))
    }

    /// Whether it is written as [`Mask::nothing`].
    pub fn is_nothing(&self) -> bool {
        matches!(self, Self::Not(of) if matches!(**of, Self::Whole))
    }

    /// Least and greatest corner, mm, of a box in which every point of the mask lies; there
    /// may be room to spare. Infinite where the mask itself sets no bound, and the least
    /// above the greatest if no point can be in it.
    ///
    /// ```
    /// use geometry::{DVec3, Mask};
    /// let ball = Mask::Sphere { centre_mm: DVec3::X * 10.0, radius_mm: 2.0 };
    /// let (least, greatest) = ball.bounds_mm();
    /// assert_eq!((least.x, greatest.x), (8.0, 12.0));
    /// ```
    pub fn bounds_mm(&self) -> (DVec3, DVec3) {
        match self {
            Mask::Sphere {
                centre_mm,
                radius_mm,
            } => around(*centre_mm, *centre_mm, *radius_mm),
            Mask::Box { min_mm, max_mm } => (*min_mm, *max_mm),
            Mask::Cylinder {
                from_mm,
                to_mm,
                radius_mm,
            } => around(*from_mm, *to_mm, *radius_mm),
            Mask::Stroke(stroke) => stroke.bounds_mm(),
            Mask::Outline(outline) => outline.bounds_mm(),
            Mask::Connected { within, .. } => within.bounds_mm(),
            Mask::Smoothed { by_mm, of } => {
                let (low, high) = of.bounds_mm();
                let by = DVec3::splat(*by_mm);
                (low - by, high + by)
            }
            Mask::Picture(picture) => picture.bounds_mm().unwrap_or(ALL),
            Mask::Text(letters) => letters.bounds_mm().unwrap_or(ALL),
            Mask::All(parts) => parts
                .iter()
                .map(Mask::bounds_mm)
                .fold(ALL, |a, b| (a.0.max(b.0), a.1.min(b.1))),
            Mask::Any(parts) => parts
                .iter()
                .map(Mask::bounds_mm)
                .fold(NONE, |a, b| (a.0.min(b.0), a.1.max(b.1))),
            Mask::Band { .. } | Mask::Slab { .. } => {
                let (low, high) = self.height_range_mm();
                (ALL.0.with_z(low), ALL.1.with_z(high))
            }
            nothing if nothing.is_nothing() => NONE,
            Mask::Whole
            | Mask::Shell { .. }
            | Mask::Object(_)
            | Mask::Crease { .. }
            | Mask::Flat { .. }
            | Mask::Colour(_)
            | Mask::Not(_) => ALL,
        }
    }

    /// Calls `each` with every picture, line of text and model's colour in the mask, to be
    /// changed.
    pub fn each_imprint(&mut self, each: &mut impl FnMut(Imprint<'_>)) {
        match self {
            Mask::Picture(picture) => each(Imprint::Picture(picture)),
            Mask::Text(letters) => each(Imprint::Letters(letters)),
            Mask::Colour(colour) => each(Imprint::Colour(colour)),
            Mask::All(parts) | Mask::Any(parts) => {
                parts.iter_mut().for_each(|part| part.each_imprint(each));
            }
            Mask::Not(part)
            | Mask::Connected { within: part, .. }
            | Mask::Smoothed { of: part, .. } => part.each_imprint(each),
            _ => {}
        }
    }

    /// Calls `each` with the mask and every mask within it.
    pub fn each<'a>(&'a self, each: &mut impl FnMut(&'a Mask)) {
        each(self);
        match self {
            Mask::All(parts) | Mask::Any(parts) => parts.iter().for_each(|part| part.each(each)),
            Mask::Not(part)
            | Mask::Connected { within: part, .. }
            | Mask::Smoothed { of: part, .. } => part.each(each),
            _ => {}
        }
    }
}

impl Stroke {
    /// Least and greatest corner, mm, of a box in which all of its paint lies.
    pub fn bounds_mm(&self) -> (DVec3, DVec3) {
        let (lo, hi) = self
            .dabs_mm
            .iter()
            .fold(NONE, |(lo, hi), &dab| (lo.min(dab), hi.max(dab)));
        around(lo, hi, self.radius_mm)
    }
}

fn around(one: DVec3, other: DVec3, by_mm: f64) -> Bounds {
    let by = DVec3::splat(by_mm);
    // No dab at all leaves the fold's start, which is not finite.
    match one.is_finite() {
        true => (one.min(other) - by, one.max(other) + by),
        false => NONE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ball(x: f64) -> Mask {
        Mask::Sphere {
            centre_mm: DVec3::X * x,
            radius_mm: 2.0,
        }
    }

    #[test]
    fn masks_combine_their_boxes() {
        let any = Mask::Any(vec![ball(0.0), ball(10.0)]).bounds_mm();
        assert_eq!((any.0.x, any.1.x), (-2.0, 12.0));
        let all = Mask::All(vec![ball(0.0), ball(3.0)]).bounds_mm();
        assert_eq!((all.0.x, all.1.x), (1.0, 2.0));
        let (lo, hi) = Mask::Any(Vec::new()).bounds_mm();
        assert!(lo.x > hi.x);
        let not = Mask::Not(Box::new(ball(0.0))).bounds_mm();
        assert_eq!(not, ALL);
        let nothing = Mask::nothing();
        assert_eq!(nothing.bounds_mm(), NONE);
        assert_eq!(
            Mask::Any(vec![nothing, ball(3.0)]).bounds_mm(),
            ball(3.0).bounds_mm()
        );
    }

    #[test]
    fn strokes_and_cylinders_reach_their_radius_beyond_their_line() {
        let dabs_mm = vec![DVec3::ZERO, DVec3::new(5.0, -1.0, 2.0)];
        let stroke = Stroke {
            dabs_mm,
            radius_mm: 1.5,
            reach_mm: None,
        };
        let (lo, hi) = stroke.bounds_mm();
        assert_eq!(lo, DVec3::new(-1.5, -2.5, -1.5));
        assert_eq!(hi, DVec3::new(6.5, 1.5, 3.5));
        let cylinder = Mask::Cylinder {
            from_mm: DVec3::Z * 9.0,
            to_mm: DVec3::Z * 3.0,
            radius_mm: 1.0,
        };
        assert_eq!(cylinder.bounds_mm().0, DVec3::new(-1.0, -1.0, 2.0));
    }

    #[test]
    fn every_mask_within_is_met() {
        let inner = Mask::Not(Box::new(Mask::Any(vec![ball(0.0), ball(1.0)])));
        let mask = Mask::All(vec![Mask::Whole, inner]);
        let mut met = 0;
        mask.each(&mut |_| met += 1);
        assert_eq!(met, 6);
    }
}
