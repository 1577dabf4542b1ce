//! Boxes in no order: how far off what is in them is, and which of them are near.

use std::ops::Range;

use glam::DVec3;

/// Boxes in a group that is looked through one by one.
const FEW: usize = 4;

/// A balanced tree of boxes: each half of the boxes, split at the middle one along the longest
/// side, has a box of its own about it.
#[derive(Clone, Default)]
pub(super) struct BoxTree {
    /// Boxes in the tree's order, with their numbers.
    leaves: Vec<(u32, [DVec3; 2])>,
    /// The boxes about halves: that of all is number 1, and the halves of `n` are `2 n` and
    /// `2 n + 1`.
    about: Vec<About>,
}

/// What there is of a half.
#[derive(Clone, Copy)]
struct About {
    /// Its corners, mm.
    bounds: [DVec3; 2],
    /// The greatest number in it.
    last: u32,
}

/// Nothing: any point is infinitely far outside it.
const NOTHING: About = About {
    bounds: [DVec3::INFINITY, DVec3::NEG_INFINITY],
    last: 0,
};

/// How far outside a box a point is, mm, along the axis on which it is farthest; 0 within. No
/// point of the box is nearer.
pub(super) fn outside_mm([low, high]: [DVec3; 2], point: DVec3) -> f64 {
    (low - point).max(point - high).max_element().max(0.0)
}

impl BoxTree {
    pub(super) fn new(boxes: impl Iterator<Item = [DVec3; 2]>) -> Self {
        let mut tree = Self {
            leaves: (0..).zip(boxes).collect(),
            about: Vec::new(),
        };
        tree.split(1, 0..tree.leaves.len());
        tree
    }

    fn split(&mut self, node: usize, leaves: Range<usize>) {
        let part = &mut self.leaves[leaves.clone()];
        let about = part
            .iter()
            .fold(NOTHING, |about, (number, [low, high])| About {
                bounds: [about.bounds[0].min(*low), about.bounds[1].max(*high)],
                last: about.last.max(*number),
            });
        if self.about.len() <= node {
            self.about.resize(node + 1, NOTHING);
        }
        self.about[node] = about;
        let Some((first, second)) = halves(leaves) else {
            return;
        };
        let axis = (about.bounds[1] - about.bounds[0]).max_position();
        let place = |each: &[DVec3; 2]| each[0][axis] + each[1][axis];
        let by_place = |(_, a): &(u32, _), (_, b): &(u32, _)| place(a).total_cmp(&place(b));
        part.select_nth_unstable_by(first.len(), by_place);
        self.split(2 * node, first);
        self.split(2 * node + 1, second);
    }

    /// How far outside the nearest box a point is, mm, or `most_mm` if that is less.
    pub(super) fn outside_mm(&self, point: DVec3, most_mm: f64) -> f64 {
        self.outside_within(1, 0..self.leaves.len(), point, most_mm)
    }

    fn outside_within(&self, node: usize, leaves: Range<usize>, point: DVec3, least: f64) -> f64 {
        let about = self.about.get(node).copied().unwrap_or(NOTHING);
        if outside_mm(about.bounds, point) >= least {
            return least;
        }
        match halves(leaves.clone()) {
            None => {
                let each = self.leaves[leaves].iter();
                each.map(|(_, leaf)| outside_mm(*leaf, point))
                    .fold(least, f64::min)
            }
            Some((first, second)) => {
                let least = self.outside_within(2 * node, first, point, least);
                self.outside_within(2 * node + 1, second, point, least)
            }
        }
    }
}

impl BoxTree {
    /// The greatest number, above `above` if there is one, of a box that comes within `room_mm` of
    /// a point, along each axis, and for which `is` holds.
    pub(super) fn last_near(
        &self,
        point: DVec3,
        room_mm: f64,
        above: Option<u32>,
        is: &impl Fn(u32) -> bool,
    ) -> Option<u32> {
        let ask = Ask { point, room_mm, is };
        self.last_within(1, 0..self.leaves.len(), &ask, above)
    }

    fn last_within<F: Fn(u32) -> bool>(
        &self,
        node: usize,
        leaves: Range<usize>,
        ask: &Ask<'_, F>,
        above: Option<u32>,
    ) -> Option<u32> {
        let later = |number: u32| above.is_none_or(|above| number > above);
        let about = self.about.get(node).copied().unwrap_or(NOTHING);
        if !later(about.last) || outside_mm(about.bounds, ask.point) > ask.room_mm {
            return above;
        }
        let Some((first, second)) = halves(leaves.clone()) else {
            let near = self.leaves[leaves].iter().filter(|(number, bounds)| {
                later(*number) && outside_mm(*bounds, ask.point) <= ask.room_mm
            });
            let found = near
                .map(|(number, _)| *number)
                .filter(|number| (ask.is)(*number));
            return found.max().or(above);
        };
        // The half of the later ones first: it may spare the other.
        let last = |node: usize| self.about.get(node).map_or(0, |about| about.last);
        let mut order = [(2 * node, first), (2 * node + 1, second)];
        if last(2 * node) < last(2 * node + 1) {
            order.swap(0, 1);
        }
        let [(one, its), (other, others)] = order;
        let above = self.last_within(one, its, ask, above);
        self.last_within(other, others, ask, above)
    }
}

impl BoxTree {
    /// Calls `each` with the number of every box that comes within `room_mm` of a point, along
    /// each axis, until it returns `true`; whether it did.
    pub(super) fn any_near(
        &self,
        point: DVec3,
        room_mm: f64,
        each: &mut impl FnMut(u32) -> bool,
    ) -> bool {
        self.near_within(1, 0..self.leaves.len(), (point, room_mm), each)
    }

    fn near_within(
        &self,
        node: usize,
        leaves: Range<usize>,
        (point, room_mm): (DVec3, f64),
        each: &mut impl FnMut(u32) -> bool,
    ) -> bool {
        let near = |bounds| outside_mm(bounds, point) <= room_mm;
        if !near(self.about.get(node).copied().unwrap_or(NOTHING).bounds) {
            return false;
        }
        match halves(leaves.clone()) {
            None => {
                let mut found = self.leaves[leaves].iter().filter(|leaf| near(leaf.1));
                found.any(|leaf| each(leaf.0))
            }
            Some((first, second)) => {
                self.near_within(2 * node, first, (point, room_mm), each)
                    || self.near_within(2 * node + 1, second, (point, room_mm), each)
            }
        }
    }
}

/// What boxes are looked for.
struct Ask<'a, F> {
    point: DVec3,
    room_mm: f64,
    is: &'a F,
}

fn halves(leaves: Range<usize>) -> Option<(Range<usize>, Range<usize>)> {
    let middle = leaves.start + leaves.len() / 2;
    (leaves.len() > FEW).then_some((leaves.start..middle, middle..leaves.end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn place() -> impl Strategy<Value = DVec3> {
        prop::array::uniform3(-50.0..50.0f64).prop_map(DVec3::from)
    }

    proptest! {
        /// The tree gives what looking at every box gives.
        #[test]
        fn the_nearest_box_is_found(
            boxes in prop::collection::vec((place(), 0.0..9.0f64), 0..60),
            point in place(),
            most in prop_oneof![Just(f64::INFINITY), 0.0..50.0f64],
        ) {
            let boxes: Vec<[DVec3; 2]> = boxes
                .into_iter()
                .map(|(low, size)| [low, low + DVec3::splat(size)])
                .collect();
            let all = boxes.iter().map(|each| outside_mm(*each, point)).fold(most, f64::min);
            let tree = BoxTree::new(boxes.iter().copied());
            prop_assert_eq!(tree.outside_mm(point, most), all);
        }

        #[test]
        fn the_last_near_a_point_is_found(
            boxes in prop::collection::vec((place(), 0.0..30.0f64), 0..60),
            point in place(),
            room in 0.0..9.0f64,
            above in prop::option::of(0..50u32),
            odd in any::<bool>(),
        ) {
            let boxes: Vec<[DVec3; 2]> = boxes
                .into_iter()
                .map(|(low, size)| [low, low + DVec3::splat(size)])
                .collect();
            let is = |number: u32| !odd || number % 2 == 1;
            let near = |number: &u32| outside_mm(boxes[*number as usize], point) <= room;
            let wanted = (0..boxes.len() as u32)
                .filter(near)
                .filter(|number| is(*number) && above.is_none_or(|above| *number > above))
                .max();
            let tree = BoxTree::new(boxes.iter().copied());
            prop_assert_eq!(tree.last_near(point, room, above, &is), wanted.or(above));
            let mut all = Vec::new();
            tree.any_near(point, room, &mut |number| {
                all.push(number);
                false
            });
            all.sort_unstable();
            prop_assert_eq!(all, (0..boxes.len() as u32).filter(near).collect::<Vec<u32>>());
        }
    }
}
