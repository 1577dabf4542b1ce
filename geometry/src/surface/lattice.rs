//! Places at which a triangle is looked through.

use glam::DVec3;

/// A block of places with no more steps than this along its sides is looked at place by place.
pub(super) const FEW_STEPS: usize = 3;

/// Evenly spread places in a triangle, counted along two of its sides.
pub(super) struct Lattice {
    pub(super) origin: DVec3,
    pub(super) sides: [DVec3; 2],
    pub(super) steps: usize,
}

impl Lattice {
    pub(super) fn at(&self, i: usize, j: usize) -> DVec3 {
        let [along, across] = self.sides;
        let steps = self.steps as f64;
        self.origin + along * (i as f64 / steps) + across * (j as f64 / steps)
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

    #[test]
    fn halves_leave_no_place_out_and_take_none_twice() {
        for range in [[0, 0], [3, 5], [0, 4], [7, 500]] {
            let places: Vec<usize> = halves(range).flat_map(|[a, b]| a..=b).collect();
            let wanted: Vec<usize> = (range[0]..=range[1]).collect();
            assert_eq!(places, wanted);
        }
    }
}
