//! How the visible surface is spread along a fade.

/// How much of the surface lies below each place along a fade: rising from 0 to 1.
///
/// A flat face across the fade is two entries at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct VisibleArea {
    /// Places, mm, rising.
    pub at_mm: Vec<f64>,
    /// Share of the area below each place, rising.
    pub below: Vec<f64>,
}

impl VisibleArea {
    /// The share of the area below a place; a flat face exactly there counts as below.
    pub(crate) fn below_at(&self, at_mm: f64) -> f64 {
        self.interpolated(self.at_mm.partition_point(|p| *p <= at_mm), at_mm)
    }

    /// The same, but a flat face exactly there does not count.
    fn below_just_before(&self, at_mm: f64) -> f64 {
        self.interpolated(self.at_mm.partition_point(|p| *p < at_mm), at_mm)
    }

    fn interpolated(&self, after: usize, at_mm: f64) -> f64 {
        let entry = |i: usize| Some((*self.at_mm.get(i)?, *self.below.get(i)?));
        match (after.checked_sub(1).and_then(entry), entry(after)) {
            (Some((p0, a0)), Some((p1, a1))) if p1 > p0 => {
                a0 + (a1 - a0) * (at_mm - p0) / (p1 - p0)
            }
            (Some((_, a)), _) | (None, Some((_, a))) => a,
            (None, None) => 0.0,
        }
    }

    /// The places between two others, each with its share of the area between them, from
    /// (0, `from_mm`) to (1, `to_mm`). Flat faces exactly at the ends are left out: they have
    /// the end stops' shades anyhow. `None` when no area lies between.
    pub(super) fn between(&self, from_mm: f64, to_mm: f64) -> Option<Vec<(f64, f64)>> {
        let low = self.below_at(from_mm);
        let span = self.below_just_before(to_mm) - low;
        if !span.is_finite() || span <= 1e-12 {
            return None;
        }
        let mut places = vec![(0.0, from_mm)];
        for (&at_mm, &below) in self.at_mm.iter().zip(&self.below) {
            if at_mm > from_mm && at_mm < to_mm {
                let before = places.last().map_or(0.0, |p| p.0);
                places.push((((below - low) / span).clamp(before, 1.0), at_mm));
            }
        }
        places.push((1.0, to_mm));
        Some(places)
    }
}
