//! Strokes over one another: which of many has a point.

use std::sync::Arc;

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use super::PreparedStroke;
use super::reach::SURELY_MM;
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

/// What strokes do to a part of a facet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnPart {
    /// None has a point of it.
    Nothing,
    /// The same one is on top all over it.
    All,
    /// It is not known; there may be an edge in it.
    Some,
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
    /// Of all marks: from the last drawn down, so that nothing is noted where one above covers
    /// all of the facet.
    fn of(marks: &[Mark]) -> Self {
        let facets = marks.first().map_or(0, |mark| mark.stroke.facet_count());
        let mut covered = vec![0u64; facets.div_ceil(64)];
        let mut lists = FxHashMap::<u32, SmallVec<[u32; 4]>>::default();
        for (number, mark) in marks.iter().enumerate().rev() {
            let name = 2 * number as u32;
            for &facet in mark.stroke.part_facets() {
                if covered[facet as usize / 64] >> (facet % 64) & 1 == 0 {
                    lists.entry(facet).or_default().push(name);
                }
            }
            for &facet in mark.stroke.whole_facets() {
                let word = &mut covered[facet as usize / 64];
                if *word >> (facet % 64) & 1 == 0 {
                    *word |= 1 << (facet % 64);
                    lists.entry(facet).or_default().push(name + 1);
                }
            }
        }
        lists.values_mut().for_each(|list| list.reverse());
        Self(lists)
    }

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
        if known.is_none() {
            (index, indexed) = (Arc::new(Index::of(&marks)), marks.len());
        } else if marks.len() - indexed > FEW {
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

    /// What strokes do to a part of a facet. Only the strokes that may paint on the facet are
    /// asked.
    pub fn on_part(&self, facet: u32, corners_mm: [DVec3; 3]) -> OnPart {
        let middle = corners_mm.iter().sum::<DVec3>() / 3.0;
        let away = corners_mm.map(|corner| corner.distance(middle));
        let room_mm = away.into_iter().fold(0.0, f64::max) + SURELY_MM;
        let some = |mark: &Mark| {
            if !mark.stroke.may_paint(middle, room_mm) {
                return None;
            }
            let all = mark.stroke.paints_all(facet, corners_mm);
            Some(if all { OnPart::All } else { OnPart::Some })
        };
        for mark in self.marks.iter().skip(self.indexed).rev() {
            if mark.stroke.whole_facets().binary_search(&facet).is_ok() {
                return OnPart::All;
            }
            let part = mark.stroke.part_facets().binary_search(&facet).is_ok();
            if let Some(found) = part.then(|| some(mark)).flatten() {
                return found;
            }
        }
        let strokes = self.index.0.get(&facet).map(SmallVec::as_slice);
        for name in strokes.unwrap_or_default().iter().rev() {
            if name % 2 == 1 {
                return OnPart::All;
            }
            let mark = self.marks.get(*name as usize / 2);
            if let Some(found) = mark.and_then(some) {
                return found;
            }
        }
        OnPart::Nothing
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::Stroke;
    use super::*;
    use crate::surface::shapes::{block, finer, prism, surface};
    use crate::{Progress, Surface};

    /// A drawn line: where it starts and which way it goes, as parts of the part's size; whether
    /// it erases.
    type Line = ([f64; 3], [f64; 3], f64, bool);

    fn lines() -> impl Strategy<Value = Vec<Line>> {
        let place = || prop::array::uniform3(0.0..1.0f64);
        prop::collection::vec((place(), place(), 0.4..5.0f64, any::<bool>()), 0..30)
    }

    fn marks(surface: &Surface, lines: &[Line]) -> Vec<Mark> {
        let (low, high) = surface.mesh().bounds();
        let on_skin = |part: [f64; 3]| {
            let place = low + DVec3::from(part) * (high - low);
            surface.nearest(place).point_mm
        };
        let mark = |&(from, to, radius_mm, erases): &Line| {
            let stroke = Stroke {
                dabs_mm: vec![on_skin(from), on_skin(to)],
                radius_mm,
                reach_mm: None,
            };
            let stroke = PreparedStroke::new(&stroke, surface, &Progress::new());
            let stroke = Arc::new(stroke.expect("a good stroke"));
            Mark { erases, stroke }
        };
        lines.iter().map(mark).collect()
    }

    /// Points of every facet, the corners and others.
    fn points(surface: &Surface) -> Vec<SurfacePoint> {
        let mesh = surface.mesh();
        let of_facet = |facet: usize| {
            let [a, b, c] = mesh.corners(facet);
            let parts = [
                (0.0, 0.0),
                (1.0, 0.0),
                (0.0, 1.0),
                (0.3, 0.3),
                (0.6, 0.1),
                (0.1, 0.7),
            ];
            parts.map(|(u, w)| SurfacePoint {
                point_mm: a + (b - a) * u + (c - a) * w,
                facet: facet as u32,
            })
        };
        (0..mesh.triangles().len()).flat_map(of_facet).collect()
    }

    fn one_by_one(marks: &[Mark], at: SurfacePoint) -> Option<bool> {
        let found = marks.iter().rev().find(|mark| mark.stroke.contains(at));
        found.map(|mark| mark.erases)
    }

    fn parts() -> [Surface; 2] {
        [
            surface(finer(&block(DVec3::new(20.0, 12.0, 9.0)), 2)),
            surface(prism(6.0, 30.0, 24)),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// The index gives what asking each stroke gives, made at once or stroke by stroke.
        #[test]
        fn the_index_answers_as_each_stroke_does(lines in lines()) {
            for surface in parts() {
                let marks = marks(&surface, &lines);
                let at_once = Brushwork::new(marks.clone(), None);
                let mut grown = Brushwork::default();
                for count in 1..=marks.len() {
                    grown = Brushwork::new(marks[..count].to_vec(), Some(&grown));
                }
                for at in points(&surface) {
                    let wanted = one_by_one(&marks, at);
                    prop_assert_eq!(at_once.erases(at), wanted, "{:?}", at);
                    prop_assert_eq!(grown.erases(at), wanted, "{:?}", at);
                }
            }
        }

        /// What is said of a part of a facet is so at each of its points.
        #[test]
        fn parts_of_one_kind_are_of_one_kind(
            lines in lines(),
            parts_of in prop::collection::vec(prop::array::uniform6(0.0..1.0f64), 8),
            points in prop::collection::vec((0.0..1.0f64, 0.0..1.0f64), 12),
        ) {
            for surface in parts() {
                let marks = marks(&surface, &lines);
                let brush = Brushwork::new(marks.clone(), None);
                for (facet, part) in (0..surface.mesh().triangles().len()).zip(parts_of.iter().cycle()) {
                    let [a, b, c] = surface.mesh().corners(facet);
                    let place = |u: f64, w: f64| a + ((b - a) * (1.0 - w) + (c - a) * w) * u;
                    let corners = [0, 2, 4].map(|i| place(part[i], part[i + 1]));
                    let said = brush.on_part(facet as u32, corners);
                    let each = points.iter().map(|&(u, w)| {
                        let [p, q, r] = corners;
                        let point_mm = p + ((q - p) * (1.0 - w) + (r - p) * w) * u;
                        one_by_one(&marks, SurfacePoint { point_mm, facet: facet as u32 })
                    });
                    let each: Vec<Option<bool>> = each.collect();
                    let alike = each.windows(2).all(|pair| pair[0] == pair[1]);
                    match said {
                        OnPart::Nothing => prop_assert!(each.iter().all(Option::is_none)),
                        OnPart::All => prop_assert!(alike && each[0].is_some(), "{:?}", each),
                        OnPart::Some => {}
                    }
                }
            }
        }
    }

    /// Far from a stroke and in its midst, parts of a large facet are told to be of one kind.
    #[test]
    fn parts_of_a_large_facet_are_told_apart() {
        let surface = surface(block(DVec3::new(100.0, 100.0, 10.0)));
        let dab = DVec3::new(30.0, 20.0, 10.0);
        let facet = surface.nearest(dab).facet;
        let stroke = Stroke {
            dabs_mm: vec![dab],
            radius_mm: 5.0,
            reach_mm: None,
        };
        let stroke = PreparedStroke::new(&stroke, &surface, &Progress::new());
        let mark = Mark {
            erases: false,
            stroke: Arc::new(stroke.expect("a good stroke")),
        };
        let brush = Brushwork::new(vec![mark], None);
        let about = |x: f64| {
            [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)].map(|(u, w)| dab + DVec3::new(x + u, w, 0.0))
        };
        assert_eq!(brush.on_part(facet, about(0.0)), OnPart::All);
        assert_eq!(brush.on_part(facet, about(4.5)), OnPart::Some);
        assert_eq!(brush.on_part(facet, about(9.0)), OnPart::Nothing);
    }
}
