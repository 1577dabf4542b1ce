//! Which copy a bit of plastic is part of.

use std::cell::Cell;

use geometry::{DVec3, Surface, SurfacePoint};

use crate::register::Placement;

/// Plastic so far beyond the skin is still the part's own wall, mm: outlines are rounded, and
/// walls of slopes stand over.
const BEYOND_MM: f64 = 0.15;

/// A place lies right above or below a facet if the way to it leans by less than this cosine tells.
const CLEAR: f64 = 0.99;

/// Where a bit of plastic belongs.
#[derive(Clone, Copy, Debug)]
pub(in crate::verify) enum Owner {
    /// To no copy: a brim, a support, a purge block.
    Nobody,
    /// To a copy, too deep to be seen.
    Inside,
    /// To a copy, here on its skin; the bit itself in the part's own coordinates.
    Skin { near: SurfacePoint, part: DVec3 },
}

/// The copies, each with its extent.
pub(in crate::verify) struct Owners {
    surface: Surface,
    stands: Vec<Placement>,
    low: DVec3,
    high: DVec3,
    seen_mm: f64,
    /// The last place far from the skin, in the part's own coordinates, and whether the part holds
    /// it.
    last: Cell<Option<(DVec3, bool)>>,
}

impl Owners {
    /// Copies of a part; `seen_mm` beneath the skin is what an eye sees.
    pub(in crate::verify) fn new(surface: &Surface, stands: &[Placement], seen_mm: f64) -> Self {
        let (low, high) = surface.mesh().bounds();
        let stands = match stands {
            [] => vec![Placement::default()],
            stands => stands.to_vec(),
        };
        Self {
            surface: surface.clone(),
            stands,
            low,
            high,
            seen_mm,
            last: Cell::new(None),
        }
    }

    /// The owner of a place of the plate. Of two copies whose extents hold it, the one whose skin
    /// or inside it is in.
    pub(in crate::verify) fn of(&self, plate_mm: DVec3) -> Owner {
        let mut found = Owner::Nobody;
        for stand in &self.stands {
            let part = stand.to_part(plate_mm);
            let margin = DVec3::splat(self.seen_mm);
            let clear = part.cmplt(self.low - margin).any() || part.cmpgt(self.high + margin).any();
            if clear {
                continue;
            }
            match self.in_part(part) {
                Owner::Nobody => {}
                Owner::Inside => found = Owner::Inside,
                skin => return skin,
            }
        }
        found
    }

    fn in_part(&self, part: DVec3) -> Owner {
        let Some(near) = self.surface.nearest_seen_within(part, self.seen_mm) else {
            return match self.holds_deep(part) {
                true => Owner::Inside,
                false => Owner::Nobody,
            };
        };
        let within = part - near.point_mm;
        let far_mm = within.length();
        let up_mm = within.dot(self.surface.normal(near.facet));
        // Right above or below a facet its own side tells; about an edge it may not.
        let inside = match up_mm.abs() > CLEAR * far_mm {
            true => up_mm < 0.0,
            false => self.holds(part),
        };
        match inside || far_mm < BEYOND_MM {
            true => Owner::Skin { near, part },
            false => Owner::Nobody,
        }
    }

    /// As [`Owners::holds`], for a place that no skin is near to. Nor is any skin between it and
    /// another such place, if they are near each other.
    fn holds_deep(&self, part: DVec3) -> bool {
        if let Some((last, holds)) = self.last.get()
            && last.distance(part) < 1.9 * self.seen_mm
        {
            self.last.set(Some((part, holds)));
            return holds;
        }
        let holds = self.holds(part);
        self.last.set(Some((part, holds)));
        holds
    }

    /// Whether the part holds a place: a ray from it leaves the part where it first meets the
    /// skin. It leans a little, so that it runs along no wall.
    fn holds(&self, part: DVec3) -> bool {
        const WAY: DVec3 = DVec3::new(0.013_7, 0.009_1, 1.0);
        let hit = self.surface.first_hit(part, WAY);
        hit.is_some_and(|hit| self.surface.normal(hit.facet).dot(WAY) > 0.0)
    }
}
