//! What is known of a part's neighbourhoods, so that not each place must be looked up.
//!
//! How deep a place lies changes by no more than the way from one place to another. So a look
//! at one place tells about a ball around it: that all of it is too deep to be seen, or that
//! all of it is near the skin and asks for one region step. The ball also serves the layers above.
//! For each cell of a grid over the plate the ball that reaches farthest is kept.

use geometry::DVec3;
use glam::DVec2;

use super::asks::Asks;

/// Cells are no narrower than this, mm,
const LEAST_CELL_MM: f64 = 1.0;

/// and there are no more of them than this along either side.
const MOST_CELLS: usize = 128;

/// Balls are taken to be this much smaller, mm, so that rounding never counts.
const ROUNDING_MM: f64 = 1e-6;

/// The balls known so far.
///
/// ```
/// use geometry::DVec3;
/// use plan::schedule::{Asks, LookupCache};
///
/// let mut known = LookupCache::new((DVec3::ZERO, DVec3::splat(50.0)));
/// known.learn(DVec3::splat(20.0), 3.0, Asks::Free);
/// let above = DVec3::new(20.0, 20.0, 21.0);
/// assert!(known.at(above).is_some_and(|(_, around_mm)| around_mm > 1.99));
/// ```
pub struct LookupCache {
    corner_mm: DVec2,
    cell_mm: f64,
    cells: Vec<Ball>,
    /// Region steps found under another choice of regions no longer hold.
    choice: u32,
}

#[derive(Clone, Copy)]
struct Ball {
    centre_mm: DVec3,
    /// Below nought for none.
    radius_mm: f64,
    asks: Asks,
    choice: u32,
}

impl LookupCache {
    /// Nothing, about a part within a box, mm.
    pub fn new((low, high): (DVec3, DVec3)) -> Self {
        let wide = (high - low).truncate().max_element();
        let none = Ball {
            centre_mm: DVec3::ZERO,
            radius_mm: -1.0,
            asks: Asks::Free,
            choice: 0,
        };
        Self {
            corner_mm: low.truncate(),
            cell_mm: (wide / MOST_CELLS as f64).max(LEAST_CELL_MM),
            cells: vec![none; MOST_CELLS * MOST_CELLS],
            choice: 0,
        }
    }

    /// Forgets region steps: from here on regions are chosen among otherwise.
    pub fn choose_anew(&mut self) {
        self.choice = self.choice.wrapping_add(1);
    }

    /// What a place asks for, and how far around it that is known, mm.
    pub fn at(&self, place_mm: DVec3) -> Option<(Asks, f64)> {
        let ball = self.cells.get(self.cell(place_mm))?;
        let around_mm = ball.radius_mm - ball.centre_mm.distance(place_mm);
        let holds = ball.asks == Asks::Free || ball.choice == self.choice;
        (holds && around_mm > ROUNDING_MM).then_some((ball.asks, around_mm - ROUNDING_MM))
    }

    /// What all of the straight way between two places asks for.
    pub fn along(&self, from_mm: DVec3, to_mm: DVec3) -> Option<Asks> {
        let (asks, around_mm) = self.at(from_mm)?;
        if from_mm.distance(to_mm) < around_mm {
            return Some(asks);
        }
        // A ball holds the whole way if it holds both ends.
        let ball = self.cells.get(self.cell(from_mm))?;
        (ball.centre_mm.distance(to_mm) < ball.radius_mm - ROUNDING_MM).then_some(asks)
    }

    /// Learns that all within a ball asks for the same.
    pub fn learn(&mut self, centre_mm: DVec3, radius_mm: f64, asks: Asks) {
        let (cell, choice) = (self.cell(centre_mm), self.choice);
        let Some(ball) = self.cells.get_mut(cell) else {
            return;
        };
        let stale = ball.asks != Asks::Free && ball.choice != choice;
        // What is left of the old one at this height.
        let left_mm = ball.radius_mm - (ball.centre_mm.z - centre_mm.z).abs();
        if stale || radius_mm >= left_mm {
            *ball = Ball {
                centre_mm,
                radius_mm,
                asks,
                choice,
            };
        }
    }

    /// The cell of a place; places off the grid go with its rim.
    fn cell(&self, place_mm: DVec3) -> usize {
        let at = (place_mm.truncate() - self.corner_mm) / self.cell_mm;
        let index = |along: f64| (along as usize).min(MOST_CELLS - 1);
        index(at.y) * MOST_CELLS + index(at.x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::RegionStep;

    const REGION_STEP: Asks = Asks::RegionStep(RegionStep { region: 1, step: 0 });

    fn v(x: f64, y: f64, z: f64) -> DVec3 {
        DVec3::new(x, y, z)
    }

    #[test]
    fn a_ball_tells_about_what_it_holds_and_no_more() {
        let mut known = LookupCache::new((v(0.0, 0.0, 0.0), v(50.0, 50.0, 9.0)));
        assert_eq!(known.at(v(5.5, 5.5, 1.0)), None);
        known.learn(v(5.5, 5.5, 1.0), 2.0, Asks::Free);
        let (asks, around_mm) = known.at(v(5.5, 5.5, 2.5)).expect("within");
        assert!(asks == Asks::Free && (around_mm - 0.5).abs() < 1e-5);
        assert_eq!(known.at(v(5.5, 5.5, 3.0)), None);
        let along = |x| known.along(v(5.9, 5.5, 1.0), v(x, 5.5, 1.0));
        assert_eq!(along(3.6), Some(Asks::Free));
        assert_eq!((along(3.4), along(7.6)), (None, None));
    }

    #[test]
    fn the_ball_that_reaches_farthest_is_kept_and_old_tints_are_not() {
        let mut known = LookupCache::new((v(0.0, 0.0, 0.0), v(50.0, 50.0, 9.0)));
        known.learn(v(5.5, 5.5, 1.0), 1.0, REGION_STEP);
        known.learn(v(5.2, 5.5, 1.0), 0.5, Asks::Free);
        assert_eq!(known.at(v(5.5, 5.5, 1.0)).map(|k| k.0), Some(REGION_STEP));
        // Nothing is left of the first one 2 mm above.
        known.learn(v(5.2, 5.5, 3.0), 0.5, Asks::Free);
        assert_eq!(known.at(v(5.5, 5.5, 1.0)), None);
        known.learn(v(5.5, 5.5, 3.0), 1.0, REGION_STEP);
        known.choose_anew();
        assert_eq!(known.at(v(5.5, 5.5, 3.0)), None);
    }

    #[test]
    fn places_anywhere_do_no_harm() {
        let mut known = LookupCache::new((DVec3::ZERO, DVec3::ZERO));
        for place in [v(-1e9, 1e9, 0.0), DVec3::splat(f64::NAN), DVec3::INFINITY] {
            known.learn(place, 1.0, REGION_STEP);
            known.at(place);
        }
        assert_eq!(known.at(v(3.0, 3.0, 3.0)), None);
    }
}
