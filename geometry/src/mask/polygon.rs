//! A closed outline in a plane: whether it goes round a place, and how far off it is.

use glam::DVec2;

/// About so many sides lie in a row.
const SIDES_A_ROW: usize = 4;

/// A closed outline. What it goes round at all is inside, also where it crosses itself (the
/// non-zero winding rule).
#[derive(Clone, Debug)]
pub(super) struct Polygon {
    sides: Vec<[DVec2; 2]>,
    least: DVec2,
    greatest: DVec2,
    /// The sides that have a part in each of some rows of equal height, from the least y on.
    rows: Vec<Vec<u32>>,
}

impl Polygon {
    /// The last corner is joined to the first.
    pub(super) fn new(corners: &[DVec2]) -> Self {
        let next = corners.iter().cycle().skip(1);
        let sides: Vec<[DVec2; 2]> = corners.iter().zip(next).map(|(&a, &b)| [a, b]).collect();
        let none = (DVec2::INFINITY, DVec2::NEG_INFINITY);
        let (least, greatest) = corners
            .iter()
            .fold(none, |(lo, hi), &corner| (lo.min(corner), hi.max(corner)));
        let mut polygon = Self {
            rows: vec![Vec::new(); sides.len() / SIDES_A_ROW + 1],
            sides,
            least,
            greatest,
        };
        for (number, [a, b]) in (0u32..).zip(&polygon.sides) {
            let [first, last] = [a.y.min(b.y), a.y.max(b.y)].map(|y| polygon.row(y));
            for row in polygon.rows.iter_mut().take(last + 1).skip(first) {
                row.push(number);
            }
        }
        polygon
    }

    /// Its sides, each from corner to corner.
    pub(super) fn sides(&self) -> &[[DVec2; 2]] {
        &self.sides
    }

    fn row(&self, y: f64) -> usize {
        let share = (y - self.least.y) / (self.greatest.y - self.least.y);
        let row = (share * self.rows.len() as f64) as usize;
        row.min(self.rows.len() - 1)
    }

    /// Whether it goes round a place.
    pub(super) fn contains(&self, place: DVec2) -> bool {
        if place.cmplt(self.least).any() || place.cmpgt(self.greatest).any() {
            return false;
        }
        let row = self.rows.get(self.row(place.y));
        let sides = row.into_iter().flatten();
        let turns = sides.filter_map(|&side| self.sides.get(side as usize));
        turns.map(|&[a, b]| crossing(a, b, place)).sum::<i32>() != 0
    }

    /// How far off it is, whether the place lies in it or not; far off there may be room to spare.
    pub(super) fn distance(&self, place: DVec2) -> f64 {
        let beside = place - place.clamp(self.least, self.greatest);
        if beside != DVec2::ZERO {
            return beside.length();
        }
        let squared = self.sides.iter().map(|&[a, b]| {
            let along = b - a;
            let share = (place - a).dot(along) / along.length_squared().max(f64::MIN_POSITIVE);
            place.distance_squared(a + along * share.clamp(0.0, 1.0))
        });
        squared.fold(f64::INFINITY, f64::min).sqrt()
    }
}

/// How a side crosses the line from a place to the right: upwards 1, downwards −1, or not.
fn crossing(a: DVec2, b: DVec2, place: DVec2) -> i32 {
    let left = (b - a).perp_dot(place - a);
    match (a.y <= place.y, b.y <= place.y) {
        (true, false) if left > 0.0 => 1,
        (false, true) if left < 0.0 => -1,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn v(x: f64, y: f64) -> DVec2 {
        DVec2::new(x, y)
    }

    /// A star with so many points, with corners on a circle of radius 10 and on one of radius 6.
    fn star(points: usize) -> Vec<DVec2> {
        let corner = |i: usize| {
            let turn = std::f64::consts::PI * i as f64 / points as f64;
            DVec2::from_angle(turn) * if i.is_multiple_of(2) { 10.0 } else { 6.0 }
        };
        (0..2 * points).map(corner).collect()
    }

    #[test]
    fn an_outline_that_crosses_itself_has_what_it_goes_round_twice() {
        // Twice round a square of 4 mm, the second time a little larger.
        let twice = [
            v(-2.0, -2.0),
            v(2.0, -2.0),
            v(2.0, 2.0),
            v(-2.0, 2.0),
            v(-2.0, -2.5),
            v(2.5, -2.5),
            v(2.5, 2.5),
            v(-2.5, 2.5),
        ];
        assert!(Polygon::new(&twice).contains(DVec2::ZERO));
        // A bow tie: each half goes round once, one of them the other way.
        let bow = Polygon::new(&[v(-2.0, -1.0), v(2.0, 1.0), v(2.0, -1.0), v(-2.0, 1.0)]);
        assert!(bow.contains(v(-1.5, 0.0)) && bow.contains(v(1.5, 0.0)));
        assert!(!bow.contains(v(0.0, 0.5)));
    }

    proptest! {
        /// Rows leave no side out: the answer is that of all sides.
        #[test]
        fn rows_give_what_all_sides_give(x in -12.0..12.0f64, y in -12.0..12.0f64, points in 2usize..40) {
            let polygon = Polygon::new(&star(points));
            let all: i32 = polygon.sides().iter().map(|&[a, b]| crossing(a, b, v(x, y))).sum();
            prop_assert_eq!(polygon.contains(v(x, y)), all != 0);
        }

        /// Within its distance from the outline, a place is on one side of it.
        #[test]
        fn nothing_changes_within_the_distance(
            x in -12.0..12.0f64, y in -12.0..12.0f64, turn in 0.0..6.3f64, share in 0.0..0.999f64,
        ) {
            let polygon = Polygon::new(&star(7));
            let place = v(x, y);
            let other = place + DVec2::from_angle(turn) * (polygon.distance(place) * share);
            prop_assert_eq!(polygon.contains(place), polygon.contains(other));
        }
    }
}
