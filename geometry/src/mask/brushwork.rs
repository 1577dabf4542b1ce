//! Strokes over one another: which of many has a point.

use std::sync::Arc;

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use super::PreparedStroke;
use crate::{DVec3, SurfacePoint};

/// So many strokes that came later are asked one by one before they are put into the index.
const FEW: usize = 24;

/// A stroke that paints or erases.
#[derive(Clone)]
pub struct Mark {
    /// Whether it takes away what lies under it.
    pub erases: bool,
    /// The stroke.
    pub stroke: Arc<PreparedStroke>,
}

/// Strokes laid over one another, the last drawn on top.
///
/// For each facet it knows the strokes that matter there, down to the first that covers it
/// as a whole: so a point is answered for in the same time however many strokes there are, and
/// what is known of a facet is kept once for all of them.
#[derive(Clone, Default)]
pub struct Brushwork {
    /// In the order in which they were drawn.
    marks: Vec<Mark>,
    /// Of the marks before `indexed`.
    index: Arc<Index>,
    indexed: usize,
}

/// For a facet the strokes that matter, the last drawn last, each written
/// `2 * number + (covers all of it)`. Only the first may cover all of it.
#[derive(Clone, Default)]
struct Index(FxHashMap<u32, SmallVec<[u32; 4]>>);

impl Index {
    fn add(&mut self, number: usize, stroke: &PreparedStroke) {
        let name = 2 * number as u32;
        for &facet in stroke.whole_facets() {
            let strokes = self.0.entry(facet).or_default();
            strokes.clear();
            strokes.push(name + 1);
        }
        for &facet in stroke.part_facets() {
            self.0.entry(facet).or_default().push(name);
        }
    }
}

impl Brushwork {
    /// Of strokes in the order in which they were drawn. `before` is taken over as far as it
    /// is of the same strokes, so that adding one to many takes little time.
    pub fn new(marks: Vec<Mark>, before: Option<&Self>) -> Self {
        let same = |(a, b): (&Mark, &Mark)| Arc::ptr_eq(&a.stroke, &b.stroke);
        let known = before.filter(|old| {
            let both = old.marks.iter().zip(&marks);
            old.indexed <= marks.len() && both.take(old.indexed).all(same)
        });
        let (mut index, mut indexed) = match known {
            Some(old) => (Arc::clone(&old.index), old.indexed),
            None => (Arc::default(), 0),
        };
        if known.is_none() || marks.len() - indexed > FEW {
            let index = Arc::make_mut(&mut index);
            for (number, mark) in marks.iter().enumerate().skip(indexed) {
                index.add(number, &mark.stroke);
            }
            indexed = marks.len();
        }
        Self {
            marks,
            index,
            indexed,
        }
    }

    /// The strokes in the order in which they were drawn.
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// What the topmost stroke that has a point of the skin does there; none if none has it.
    pub fn erases(&self, at: SurfacePoint) -> Option<bool> {
        let late = self.marks.iter().skip(self.indexed).rev();
        let found = late
            .filter(|mark| mark.stroke.contains(at))
            .map(|mark| mark.erases)
            .next();
        if found.is_some() {
            return found;
        }
        let strokes = self.index.0.get(&at.facet)?;
        let named = strokes.iter().rev().filter_map(|name| {
            let mark = self.marks.get(*name as usize / 2)?;
            Some((mark, name % 2 == 1))
        });
        named
            .filter(|(mark, whole)| *whole || mark.stroke.paints_part(at))
            .map(|(mark, _)| mark.erases)
            .next()
    }

    /// Whether all points of a facet get the same from [`Brushwork::erases`]; where it is not
    /// known, no.
    pub fn is_even(&self, facet: u32) -> bool {
        let late = self.marks.iter().skip(self.indexed).rev();
        for mark in late {
            if mark.stroke.whole_facets().binary_search(&facet).is_ok() {
                return true;
            }
            if mark.stroke.part_facets().binary_search(&facet).is_ok() {
                return false;
            }
        }
        match self.index.0.get(&facet).map(SmallVec::as_slice) {
            None => true,
            Some([only]) => only % 2 == 1,
            Some(_) => false,
        }
    }

    /// A distance within which every point of the skin gets the same answer as this place, mm;
    /// there may be room to spare.
    pub fn clearance_mm(&self, place_mm: DVec3) -> f64 {
        let each = self
            .marks
            .iter()
            .map(|mark| mark.stroke.clearance_mm(place_mm));
        each.fold(f64::INFINITY, f64::min)
    }
}
