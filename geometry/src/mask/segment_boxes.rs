//! Boxes about the pieces of a stroke, and about groups of them.

use glam::DVec3;

use super::box_tree::outside_mm;

/// How many boxes a box of the next level is about.
const GROUP: usize = 8;

/// A box about each piece, about each eight pieces that follow each other, about each eight of
/// those and so on: pieces that follow each other are near each other.
#[derive(Clone, Default)]
pub(super) struct SegmentBoxes {
    /// From the pieces up; the last level has no more than eight.
    levels: Vec<Vec<[DVec3; 2]>>,
}

impl SegmentBoxes {
    /// Adds a piece.
    pub(super) fn push(&mut self, ends: [DVec3; 2], radius_mm: f64) {
        let room = DVec3::splat(radius_mm);
        let new = [ends[0].min(ends[1]) - room, ends[0].max(ends[1]) + room];
        if self.levels.is_empty() {
            self.levels.push(Vec::new());
        }
        let number = self.levels[0].len();
        let mut group = 1;
        for level in &mut self.levels {
            match level.get_mut(number / group) {
                Some(old) => *old = [old[0].min(new[0]), old[1].max(new[1])],
                None => level.push(new),
            }
            group *= GROUP;
        }
        if let Some(top) = self.levels.last()
            && top.len() > GROUP
        {
            let about = |all: &[[DVec3; 2]]| {
                all.iter()
                    .fold([DVec3::INFINITY, DVec3::NEG_INFINITY], |a, b| {
                        [a[0].min(b[0]), a[1].max(b[1])]
                    })
            };
            let above = top.chunks(GROUP).map(about).collect();
            self.levels.push(above);
        }
    }

    /// The boxes of the pieces.
    pub(super) fn each(&self) -> &[[DVec3; 2]] {
        self.levels.first().map_or(&[], Vec::as_slice)
    }

    /// Whether `is` so for a piece whose box comes within `room_mm` of a point, measured along
    /// the axis on which it is farthest.
    pub(super) fn any_near(
        &self,
        point: DVec3,
        room_mm: f64,
        mut is: impl FnMut(usize) -> bool,
    ) -> bool {
        let Some(top) = self.levels.len().checked_sub(1) else {
            return false;
        };
        let room = DVec3::splat(room_mm);
        let about = [point - room, point + room];
        (0..self.levels[top].len()).any(|number| self.any_below(top, number, about, &mut is))
    }

    /// How far outside the nearest box a point is, mm, or `most_mm` if that is less.
    pub(super) fn outside_mm(&self, point: DVec3, most_mm: f64) -> f64 {
        let Some(top) = self.levels.len().checked_sub(1) else {
            return most_mm;
        };
        let numbers = 0..self.levels[top].len();
        numbers.fold(most_mm, |least, number| {
            self.outside_below(top, number, point, least)
        })
    }

    /// As [`SegmentBoxes::outside_mm`] within a box, or `least` if that is less.
    fn outside_below(&self, level: usize, number: usize, point: DVec3, least: f64) -> f64 {
        let Some(about) = self.levels[level].get(number) else {
            return least;
        };
        let outside = outside_mm(*about, point);
        match level {
            _ if outside >= least => least,
            0 => outside,
            _ => (GROUP * number..GROUP * (number + 1)).fold(least, |least, below| {
                self.outside_below(level - 1, below, point, least)
            }),
        }
    }

    fn any_below(
        &self,
        level: usize,
        number: usize,
        about: [DVec3; 2],
        is: &mut impl FnMut(usize) -> bool,
    ) -> bool {
        let Some([low, high]) = self.levels[level].get(number) else {
            return false;
        };
        if !(about[1].cmpge(*low).all() && about[0].cmple(*high).all()) {
            return false;
        }
        match level {
            0 => is(number),
            _ => (GROUP * number..GROUP * (number + 1))
                .any(|below| self.any_below(level - 1, below, about, is)),
        }
    }
}
