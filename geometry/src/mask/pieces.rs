//! The straight pieces of many strokes, found by place.

use smallvec::SmallVec;

use super::Mark;
use super::box_tree::BoxTree;
use crate::{DVec3, SurfacePoint};

/// All pieces of marks, in the order in which they were drawn.
///
/// A long thin facet may be crossed by every stroke of a plan; near a point of it there are few.
#[derive(Clone, Default)]
pub(super) struct Pieces {
    /// The number of the first piece of each mark, and of one beyond.
    firsts: Vec<u32>,
    /// About each piece.
    boxes: BoxTree,
    /// No piece paints two points that are farther from each other than this, mm.
    widest_mm: f64,
}

impl Pieces {
    pub(super) fn of(marks: &[Mark]) -> Self {
        let counts = marks
            .iter()
            .map(|mark| mark.stroke.piece_boxes().len() as u32);
        let firsts = std::iter::once(0).chain(counts.scan(0, |sum, count| {
            *sum += count;
            Some(*sum)
        }));
        let boxes = marks.iter().flat_map(|mark| mark.stroke.piece_boxes());
        Self {
            firsts: firsts.collect(),
            widest_mm: boxes.clone().fold(0.0, |widest, [low, high]| {
                f64::max(widest, low.distance(*high))
            }),
            boxes: BoxTree::new(boxes.copied()),
        }
    }

    /// How far outside the box of the nearest piece a place is, mm, or `most_mm` if that is less.
    pub(super) fn outside_mm(&self, place: DVec3, most_mm: f64) -> f64 {
        self.boxes.outside_mm(place, most_mm)
    }

    /// The topmost mark, of those from `lowest` on, of which a piece paints a point of a facet.
    pub(super) fn painted(&self, marks: &[Mark], lowest: usize, at: SurfacePoint) -> Option<usize> {
        let above = self.firsts.get(lowest)?.checked_sub(1);
        let paints = |number| {
            let (mark, piece) = self.place(number);
            let mark = marks.get(mark);
            mark.is_some_and(|mark| mark.stroke.piece_paints(piece, at))
        };
        let found = self.boxes.last_near(at.point_mm, 0.0, above, &paints);
        let found = found.filter(|found| Some(*found) != above)?;
        Some(self.place(found).0)
    }

    /// The marks, of those from `lowest` on, of which a piece may paint a point of a facet within
    /// a distance of a place, mm: each once, the topmost first. Where that is so far that no
    /// piece paints all of it, any one of them stands for all.
    pub(super) fn near(
        &self,
        marks: &[Mark],
        lowest: usize,
        (place, room_mm): (DVec3, f64),
        facet: u32,
    ) -> SmallVec<[usize; 8]> {
        let mut found = SmallVec::<[usize; 8]>::new();
        let any_will_do = self.are_narrower(room_mm);
        self.boxes.any_near(place, room_mm, &mut |number| {
            let (number, piece) = self.place(number);
            let reaches = |mark: &&Mark| mark.stroke.piece_comes_near(piece, facet, place, room_mm);
            if number >= lowest && marks.get(number).filter(reaches).is_some() {
                found.push(number);
            }
            any_will_do && !found.is_empty()
        });
        found.sort_unstable_by(|a, b| b.cmp(a));
        found.dedup();
        found
    }

    /// The marks from `lowest` on, each with those of its pieces that may paint a point of a facet
    /// within a distance of a place, mm; in no order.
    pub(super) fn each_near(
        &self,
        marks: &[Mark],
        lowest: usize,
        (place, room_mm): (DVec3, f64),
        facet: u32,
    ) -> SmallVec<[(u32, u32); 16]> {
        let mut found = SmallVec::new();
        self.boxes.any_near(place, room_mm, &mut |number| {
            let (number, piece) = self.place(number);
            let reaches = |mark: &&Mark| mark.stroke.piece_comes_near(piece, facet, place, room_mm);
            if number >= lowest && marks.get(number).filter(reaches).is_some() {
                found.push((number as u32, piece as u32));
            }
            false
        });
        found
    }

    /// Whether no piece paints all that is within a distance of a place, mm.
    pub(super) fn are_narrower(&self, room_mm: f64) -> bool {
        room_mm > self.widest_mm
    }

    /// The mark of a piece, and the piece's number there.
    fn place(&self, piece: u32) -> (usize, usize) {
        let mark = self.firsts.partition_point(|first| *first <= piece);
        let mark = mark.saturating_sub(1);
        let first = self.firsts.get(mark).copied().unwrap_or(0);
        (mark, (piece - first) as usize)
    }
}
