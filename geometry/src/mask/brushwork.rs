//! Strokes over one another: which of many has a point.

use std::sync::Arc;

use smallvec::SmallVec;

use super::Mark;
use super::cells::{Cells, Crowded, There};
use super::on_part::{OnPart, Told};
use super::pieces::Pieces;
use super::reach::SURELY_MM;
use super::stroke_index::{StrokeIndex, is_whole, number};
use crate::{DVec3, SurfacePoint};

/// So many strokes that came later are asked one by one before they are put into the index.
const FEW: usize = 24;

/// So many strokes of a facet are asked one by one; where there are more, their pieces are looked
/// for by place.
const FEW_THERE: usize = 3;

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
    index: Arc<StrokeIndex>,
    indexed: usize,
    /// Of the same marks.
    pieces: Arc<Pieces>,
    /// Of the facets where many of them are.
    cells: Arc<Cells>,
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
        let mut brushwork = match known {
            Some(old) => old.clone(),
            None => Self::default(),
        };
        if known.is_none() || marks.len() - brushwork.indexed > FEW {
            brushwork.put_in_order(&marks);
        }
        brushwork.marks = marks;
        brushwork
    }

    /// Puts all marks into the index.
    fn put_in_order(&mut self, marks: &[Mark]) {
        let index = self.index.grown(marks, self.indexed);
        let pieces = Pieces::of(marks);
        let mut crowded = Vec::new();
        index.each(|facet, names| {
            if let [first, _, ..] = names
                && names.len() > FEW_THERE
            {
                crowded.push(Crowded {
                    facet,
                    lowest: number(*first),
                    whole: is_whole(*first),
                });
            }
        });
        let mesh = marks.first().map(|mark| mark.stroke.mesh());
        let cells = mesh.map(|mesh| Cells::of(mesh, &crowded, marks, &pieces));
        self.cells = Arc::new(cells.unwrap_or_default());
        (self.index, self.pieces) = (Arc::new(index), Arc::new(pieces));
        self.indexed = marks.len();
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
        let strokes = self.index.at(at.facet);
        let topmost = match strokes.len() > FEW_THERE {
            false => {
                let paints = |name: &&u32| {
                    let mark = self.marks.get(number(**name));
                    let part = |mark: &Mark| mark.stroke.paints_part(at);
                    is_whole(**name) || mark.is_some_and(part)
                };
                strokes.iter().rev().find(paints).map(|name| number(*name))
            }
            true => {
                let painted = match self.cells.at(at) {
                    Some(There::Alike(told)) => return told,
                    Some(There::Pieces(near)) => self.first_that_paints(near, at),
                    None => self.pieces.painted(&self.marks, number(strokes[0]), at),
                };
                painted.or_else(|| is_whole(strokes[0]).then(|| number(strokes[0])))
            }
        };
        Some(self.marks.get(topmost?)?.erases)
    }

    fn first_that_paints(&self, pieces: &[(u32, u32)], at: SurfacePoint) -> Option<usize> {
        let paints = |(number, piece): &&(u32, u32)| {
            let mark = self.marks.get(*number as usize);
            mark.is_some_and(|mark| mark.stroke.piece_paints(*piece as usize, at))
        };
        pieces
            .iter()
            .find(paints)
            .map(|(number, _)| *number as usize)
    }

    /// What strokes do to a part of a facet. Only the strokes that may paint on the facet are
    /// asked.
    pub fn on_part(&self, facet: u32, corners_mm: [DVec3; 3]) -> OnPart {
        let middle = corners_mm.iter().sum::<DVec3>() / 3.0;
        let away = corners_mm.map(|corner| corner.distance(middle));
        let room_mm = away.into_iter().fold(0.0, f64::max) + SURELY_MM;
        let mut told = Told::default();
        for mark in self.marks.iter().skip(self.indexed).rev() {
            let all = mark.stroke.whole_facets().binary_search(&facet).is_ok();
            if !all && !mark.stroke.may_paint(facet, middle, room_mm) {
                continue;
            }
            let all = all || mark.stroke.paints_all(facet, corners_mm);
            if let Some(found) = told.and(mark.erases, all) {
                return found;
            }
        }
        // Only where no later stroke is near do the cells know all.
        if told.is_nothing()
            && let Some(known) = self.cells.on_part(facet, corners_mm)
        {
            return known;
        }
        let strokes = self.index.at(facet);
        let whole = strokes.first().filter(|name| is_whole(**name));
        let part = strokes.iter().skip(usize::from(whole.is_some())).rev();
        let many = part.len() > FEW_THERE;
        let near: SmallVec<[usize; 8]> = match many {
            true => {
                let place = (middle, room_mm);
                self.pieces
                    .near(&self.marks, number(strokes[0]), place, facet)
            }
            false => part.map(|name| number(*name)).collect(),
        };
        if many && !near.is_empty() && self.pieces.are_narrower(room_mm) {
            return OnPart::Some;
        }
        for mark in near.iter().filter_map(|name| self.marks.get(*name)) {
            if !many && !mark.stroke.may_paint(facet, middle, room_mm) {
                continue;
            }
            let all = mark.stroke.paints_all(facet, corners_mm);
            if let Some(found) = told.and(mark.erases, all) {
                return found;
            }
        }
        let whole = whole.and_then(|name| self.marks.get(number(*name)));
        let found = whole.and_then(|mark| told.and(mark.erases, true));
        found.unwrap_or_else(|| told.in_the_end())
    }

    /// A distance within which every point of the skin gets the same answer as this place, mm, no
    /// more than `most_mm`; there may be room to spare. The less it may be, the sooner it is known.
    pub fn clearance_mm(&self, place_mm: DVec3, most_mm: f64) -> f64 {
        let known = self.pieces.outside_mm(place_mm, most_mm);
        let late = self.marks.iter().skip(self.indexed);
        late.fold(known, |least, mark| {
            mark.stroke.clearance_within(place_mm, least)
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{PreparedStroke, Stroke};
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

        /// No stroke paints within the clearance, which is that of the nearest stroke.
        #[test]
        fn within_the_clearance_nothing_is_painted(
            lines in lines(),
            part in prop::array::uniform3(-0.2..1.2f64),
            most in prop_oneof![Just(f64::INFINITY), 0.0..20.0f64],
        ) {
            for surface in parts() {
                let (low, high) = surface.mesh().bounds();
                let place = low + DVec3::from(part) * (high - low);
                let marks = marks(&surface, &lines);
                let brush = Brushwork::new(marks.clone(), None);
                let clearance_mm = brush.clearance_mm(place, most);
                let each = marks.iter().map(|mark| mark.stroke.clearance_mm(place));
                prop_assert_eq!(clearance_mm, each.fold(most, f64::min));
                let near = |at: &SurfacePoint| at.point_mm.distance(place) < clearance_mm;
                let answers = points(&surface).into_iter().filter(near).map(|at| brush.erases(at));
                prop_assert!(answers.clone().all(|answer| answer.is_none()), "{clearance_mm}");
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
