//! Facets that are surely apart, told at once: nearly all of those whose boxes meet are.

use glam::DVec3;

/// What rounding may do to a sum of three products, as a share of the sum of their sizes: some
/// times what it does at most.
const OF_PRODUCTS: f64 = 16.0 * f64::EPSILON;

/// Whether two facets with a corner in common surely have no other point in common: a plane
/// through the corner parts their other corners. It may say no of some.
///
/// A difference of two numbers is off by no more than its last digit, so the sign of a sum that is
/// greater than rounding is exact.
pub(super) fn fan_out(own: [DVec3; 3], theirs: [DVec3; 3], corner: DVec3) -> bool {
    let towards =
        |facet: [DVec3; 3]| (facet[0] - corner) + (facet[1] - corner) + (facet[2] - corner);
    let (own_way, their_way) = (towards(own), towards(theirs));
    // Square to the line that halves the angle between both ways.
    let across = own_way * their_way.length() - their_way * own_way.length();
    let beyond = |facet: [DVec3; 3], way: DVec3| {
        let others = facet.into_iter().filter(|p| *p != corner);
        let mut apart = others.map(|p| exceeds_rounding(p - corner, way));
        apart.all(|beyond| beyond)
    };
    beyond(own, across) && beyond(theirs, -across)
}

/// Whether two facets without a common corner are surely apart: a plane that is square to the way
/// between their middles parts them. It may say no of some.
pub(super) fn stay_apart(own: [DVec3; 3], theirs: [DVec3; 3]) -> bool {
    let origin = own[0];
    let middle =
        |facet: [DVec3; 3]| (facet[0] - origin) + (facet[1] - origin) + (facet[2] - origin);
    let across = middle(theirs) - middle(own);
    // The corner of the first that is farthest along.
    let along = |p: DVec3| (p - origin).dot(across);
    let [a, b, c] = own;
    let mut last = a;
    for p in [b, c] {
        if along(p) > along(last) {
            last = p;
        }
    }
    let ahead = |way: DVec3| move |p: DVec3| exceeds_rounding(p - last, way);
    let level_or_behind = own.into_iter().all(|p| p == last || ahead(-across)(p));
    level_or_behind && theirs.into_iter().all(ahead(across))
}

/// Whether a step goes along a way, by more than rounding may do.
fn exceeds_rounding(step: DVec3, way: DVec3) -> bool {
    step.dot(way) > OF_PRODUCTS * step.abs().dot(way.abs())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::crossings::met;
    use super::*;

    /// Corners on a coarse lattice, so that facets often touch, lie in one plane or have no area;
    /// far from the origin or near it.
    fn corners(count: usize) -> impl Strategy<Value = Vec<DVec3>> {
        let corner = prop::array::uniform3(-3..=3i32);
        let at = prop_oneof![Just(0.0), Just(1e6), Just(1.0 / 3.0)];
        (prop::collection::vec(corner, count), at, 0.0..1.0f64).prop_map(|(corners, at, skew)| {
            let place = |[x, y, z]: [i32; 3]| {
                let [x, y, z] = [x, y, z].map(f64::from);
                DVec3::new(x + skew * y, y + skew * z, z) * 0.1 + at
            };
            corners.into_iter().map(place).collect()
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        /// What is told apart at once meets nowhere by the exact predicates.
        #[test]
        fn what_is_apart_does_not_meet(corners in corners(6), shared in any::<bool>()) {
            let own = [corners[0], corners[1], corners[2]];
            let first = if shared { own[0] } else { corners[3] };
            let theirs = [first, corners[4], corners[5]];
            let apart = match shared {
                true => fan_out(own, theirs, first),
                false => stay_apart(own, theirs),
            };
            if apart {
                prop_assert_eq!(met(own, theirs, 0.0), None);
            }
        }
    }

    #[test]
    fn facets_about_a_corner_and_beside_each_other_are_apart() {
        let at = |angle: f64| DVec3::new(angle.cos(), angle.sin(), 0.1 * (3.0 * angle).sin());
        let third = std::f64::consts::FRAC_PI_3;
        let sector = |i: f64| [DVec3::ZERO, at(i * third), at((i + 1.0) * third)];
        for (a, b) in [(0.0, 2.0), (0.0, 3.0), (1.0, 5.0)] {
            assert!(fan_out(sector(a), sector(b), DVec3::ZERO));
        }
        let moved = |by: f64| sector(0.0).map(|p| p + DVec3::X * by);
        assert!(stay_apart(sector(0.0), moved(1.2)));
        assert!(!stay_apart(sector(0.0), moved(0.2)));
    }
}
