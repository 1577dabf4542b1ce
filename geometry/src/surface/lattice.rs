//! Places at which a triangle is looked through.

use glam::DVec3;

/// A block of places with no more steps than this along its sides is looked at place by place.
pub(super) const FEW_STEPS: usize = 3;

/// Places spread over a triangle in rows along its longest side, no farther from each other than
/// asked for: a long thin triangle has few rows.
///
/// Every row is counted from 0 to [`steps`](Self::steps), however short it is; those that are too
/// close to each other are passed over.
pub(super) struct Lattice {
    /// The ends of the longest side, and the corner that the rows shrink to.
    corners: [DVec3; 3],
    /// Steps along a row, and from row to row.
    pub(super) steps: [usize; 2],
}

impl Lattice {
    /// In a triangle, with places no more than `apart_mm` from each other.
    pub(super) fn new(triangle: [DVec3; 3], apart_mm: f64) -> Self {
        let length = |i: usize| triangle[i].distance(triangle[(i + 1) % 3]);
        let first = (0..3).fold(0, |best, i| if length(i) > length(best) { i } else { best });
        let corners = [0, 1, 2].map(|i| triangle[(first + i) % 3]);
        let [from, to, last] = corners;
        let high = (to - from).cross(last - from).length() / length(first).max(f64::MIN_POSITIVE);
        let count = |mm: f64| (mm / apart_mm).ceil().max(2.0) as usize;
        Self {
            corners,
            steps: [count(length(first)), count(high)],
        }
    }

    /// A place of a row.
    pub(super) fn at(&self, along: usize, row: usize) -> DVec3 {
        let [from, to, last] = self.corners;
        let [along, row] = [(along, self.steps[0]), (row, self.steps[1])]
            .map(|(count, steps)| count as f64 / steps as f64);
        from.lerp(to, along).lerp(last, row)
    }

    /// The places of a row within a range that are far enough from each other.
    pub(super) fn row(&self, row: usize, [from, to]: [usize; 2]) -> impl Iterator<Item = usize> {
        let left = self.steps[1].saturating_sub(row).max(1);
        let every = (self.steps[1] / left).clamp(1, self.steps[0]);
        (from.next_multiple_of(every)..=to).step_by(every)
    }
}

/// A range of places as it is, or in two where it is long.
pub(super) fn halves([from, to]: [usize; 2]) -> impl Iterator<Item = [usize; 2]> {
    let middle = from.midpoint(to);
    let (first, second) = match to - from > FEW_STEPS {
        true => ([from, middle], Some([middle + 1, to])),
        false => ([from, to], None),
    };
    std::iter::once(first).chain(second)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// No disc as wide as the places may be apart, and half as much again, lies between them.
        #[test]
        fn no_place_is_far_from_all(
            corners in prop::array::uniform3((-9.0..9.0f64, -9.0..9.0f64)),
            thin in prop_oneof![Just(1.0), Just(0.01)],
            part in (0.0..1.0f64, 0.0..1.0f64),
        ) {
            let [a, b, c] = corners.map(|(x, y)| DVec3::new(x, y * thin, 1.0));
            let lattice = Lattice::new([a, b, c], 0.7);
            let (u, w) = part;
            let place = a.lerp(b, u.sqrt()).lerp(a.lerp(c, u.sqrt()), w);
            let [along, rows] = lattice.steps;
            let mut places = (0..=rows).flat_map(|row| {
                let row_places = lattice.row(row, [0, along]);
                row_places.map(move |i| (i, row))
            });
            let near = places.any(|(i, row)| lattice.at(i, row).distance(place) < 1.05);
            prop_assert!(near);
        }
    }

    #[test]
    fn halves_leave_no_place_out_and_take_none_twice() {
        for range in [[0, 0], [3, 5], [0, 4], [7, 500]] {
            let places: Vec<usize> = halves(range).flat_map(|[a, b]| a..=b).collect();
            let wanted: Vec<usize> = (range[0]..=range[1]).collect();
            assert_eq!(places, wanted);
        }
    }
}
