//! What a mask tells about heights alone, without a part.

use super::{CutOpen, Mask, cylinder, slab};

const ALL: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);
const NONE: (f64, f64) = (f64::INFINITY, f64::NEG_INFINITY);

impl Mask {
    /// Whether the mask asks for nothing but the height of a point, so that what holds for
    /// one point of a level cut holds for all of it.
    ///
    /// ```
    /// use geometry::Mask;
    /// let band = |from_mm, to_mm| Mask::Band { from_mm, to_mm };
    /// assert!(Mask::Any(vec![band(0.0, 2.0), band(5.0, 9.0)]).depends_on_height_only());
    /// ```
    pub fn depends_on_height_only(&self) -> bool {
        match self {
            Mask::Whole | Mask::Band { .. } => true,
            Mask::Slab {
                direction,
                from_mm,
                to_mm,
            } => slab::heights(*direction, *from_mm, *to_mm).is_some(),
            Mask::All(parts) | Mask::Any(parts) => parts.iter().all(Mask::depends_on_height_only),
            Mask::Not(part) => part.depends_on_height_only(),
            Mask::Sphere { .. }
            | Mask::Box { .. }
            | Mask::Cylinder { .. }
            | Mask::Shell { .. }
            | Mask::Object(_)
            | Mask::Crease { .. }
            | Mask::Flat { .. }
            | Mask::Outline(_)
            | Mask::Stroke(_)
            | Mask::Picture(_)
            | Mask::Text(_)
            | Mask::Colour(_)
            | Mask::Connected { .. }
            | Mask::Smoothed { .. } => false,
        }
    }

    /// The heights, mm, at which the mask ends on level lines, in no order: the ends of bands, of
    /// upright slabs and of boxes. Some may be infinite, and some may be hidden by other parts.
    ///
    /// ```
    /// use geometry::Mask;
    /// let band = Mask::Band { from_mm: 2.0, to_mm: 5.0 };
    /// assert_eq!(Mask::Not(Box::new(band)).level_edges_mm(), [2.0, 5.0]);
    /// ```
    pub fn level_edges_mm(&self) -> Vec<f64> {
        let mut edges = Vec::new();
        self.each(&mut |mask| match mask {
            Mask::Band { from_mm, to_mm } => edges.extend([*from_mm, *to_mm]),
            Mask::Slab {
                direction,
                from_mm,
                to_mm,
            } => edges.extend(
                slab::heights(*direction, *from_mm, *to_mm)
                    .into_iter()
                    .flat_map(|(lo, hi)| [lo, hi]),
            ),
            Mask::Box { min_mm, max_mm } => edges.extend([min_mm.z, max_mm.z]),
            Mask::Outline(outline) => edges.extend(outline.cut.and_then(CutOpen::height_mm)),
            _ => {}
        });
        edges
    }

    /// Least and greatest height, mm, between which every point of the mask lies; there
    /// may be room to spare. Infinite where the mask itself sets no bound, and the least
    /// above the greatest if no point can be in it.
    pub fn height_range_mm(&self) -> (f64, f64) {
        match self {
            Mask::Band { from_mm, to_mm } => from_band(*from_mm, *to_mm),
            Mask::Slab {
                direction,
                from_mm,
                to_mm,
            } => slab::heights(*direction, *from_mm, *to_mm)
                .map_or(ALL, |(lo, hi)| from_band(lo, hi)),
            Mask::Sphere {
                centre_mm,
                radius_mm,
            } => (centre_mm.z - radius_mm, centre_mm.z + radius_mm),
            Mask::Box { min_mm, max_mm } => (min_mm.z, max_mm.z),
            Mask::Cylinder {
                from_mm,
                to_mm,
                radius_mm,
            } => cylinder::heights(*from_mm, *to_mm, *radius_mm),
            Mask::Stroke(stroke) => stroke.dabs_mm.iter().fold(NONE, |(lo, hi), dab| {
                (
                    lo.min(dab.z - stroke.radius_mm),
                    hi.max(dab.z + stroke.radius_mm),
                )
            }),
            Mask::Picture(_) | Mask::Text(_) | Mask::Outline(_) => {
                let (low, high) = self.bounds_mm();
                (low.z, high.z)
            }
            Mask::All(parts) => parts.iter().fold(ALL, |(lo, hi), part| {
                let (from, to) = part.height_range_mm();
                (lo.max(from), hi.min(to))
            }),
            Mask::Any(parts) => parts.iter().fold(NONE, |(lo, hi), part| {
                let (from, to) = part.height_range_mm();
                (lo.min(from), hi.max(to))
            }),
            Mask::Connected { within, .. } => within.height_range_mm(),
            Mask::Smoothed { by_mm, of } => {
                let (low, high) = of.height_range_mm();
                (low - by_mm, high + by_mm)
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
}

/// A band's bounds; a hair above its end belongs to it where the part ends there.
fn from_band(from_mm: f64, to_mm: f64) -> (f64, f64) {
    (from_mm, to_mm + 1e-3)
}
