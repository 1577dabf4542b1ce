//! Facets with many strokes, cut into cells in which it is known what the strokes do.

use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::Mark;
use super::on_part::{OnPart, Told};
use super::pieces::Pieces;
use super::reach::SURELY_MM;
use crate::{DVec3, Mesh, SurfacePoint};

/// Cells are this part of the least radius wide: then most have no edge in them.
const PART_OF_RADIUS: f64 = 0.25;

/// There are about so many cells at most; they are made wider for it.
const MOST_CELLS: f64 = 250_000.0;

/// A part of a facet that lies in more cells than this is not looked up in them.
const MOST_OF_PART: usize = 48;

/// A point farther off its facet than this is not looked up, mm.
const OFF_MM: f64 = 0.5 * SURELY_MM;

/// What is known of a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cell {
    /// It is not known: the cell is beside the facet.
    Unknown,
    /// All of it gets the same answer.
    Alike(Option<bool>),
    /// The pieces at a place of [`Cells::starts`] decide.
    Pieces(u32),
}

/// What is known of a point.
pub(super) enum There<'a> {
    /// What the topmost stroke does there; none if there is none.
    Alike(Option<bool>),
    /// Marks and their pieces, of which the first that paints the point is the topmost. If none
    /// does, it is the one that covers all of the facet.
    Pieces(&'a [(u32, u32)]),
}

/// Cells of facets, squares in their planes.
///
/// A long facet may be crossed by every stroke of a plan. Near a point of it there are few of
/// their pieces, and most points are near no edge.
#[derive(Clone, Default)]
pub(super) struct Cells {
    frames: FxHashMap<u32, Frame>,
    cells: Vec<Cell>,
    /// Where the pieces of a cell begin, and where the last ones end.
    starts: Vec<u32>,
    pieces: Vec<(u32, u32)>,
}

/// How the cells of a facet lie.
#[derive(Clone, Copy)]
struct Frame {
    /// The corner of the first cell, mm.
    origin: DVec3,
    /// Unit vectors along rows, from row to row, and off the facet.
    axes: [DVec3; 3],
    /// How many cells there are in a row, and rows.
    counts: [usize; 2],
    wide_mm: f64,
    /// Its first cell.
    first: usize,
}

/// A facet with many strokes, and the lowest of them that matters.
pub(super) struct Crowded {
    pub(super) facet: u32,
    pub(super) lowest: usize,
    /// Whether that one covers all of the facet.
    pub(super) whole: bool,
}

/// The cells of one facet, and the pieces of those that have some, one after the other.
type Found = (Vec<Cell>, Vec<Vec<(u32, u32)>>);

impl Cells {
    /// Of the facets that have many strokes.
    pub(super) fn of(mesh: &Mesh, crowded: &[Crowded], marks: &[Mark], pieces: &Pieces) -> Self {
        let least = marks.iter().map(|mark| mark.stroke.radius_mm());
        let least_mm = least.fold(f64::INFINITY, f64::min) * PART_OF_RADIUS;
        let area = |one: &Crowded| 2.0 * mesh.area_vector(one.facet as usize).length();
        let whole_mm2: f64 = crowded.iter().map(area).sum();
        let wide_mm = least_mm.max((whole_mm2 / MOST_CELLS).sqrt());
        let mut made = Self::default();
        if !(wide_mm.is_finite() && wide_mm > 0.0) {
            return made;
        }
        let framed: Vec<(&Crowded, Frame)> = crowded
            .iter()
            .filter_map(|one| Some((one, Frame::of(mesh.corners(one.facet as usize), wide_mm)?)))
            .collect();
        let found: Vec<Found> = framed
            .par_iter()
            .map(|(one, frame)| {
                let corners = mesh.corners(one.facet as usize);
                looked_through(one, frame, corners, marks, pieces)
            })
            .collect();
        for ((one, frame), (cells, lists)) in framed.into_iter().zip(found) {
            let first = made.cells.len();
            made.frames.insert(one.facet, Frame { first, ..frame });
            let before = made.starts.len() as u32;
            made.cells.extend(cells.into_iter().map(|cell| match cell {
                Cell::Pieces(list) => Cell::Pieces(before + list),
                cell => cell,
            }));
            for list in lists {
                made.starts.push(made.pieces.len() as u32);
                made.pieces.extend(list);
            }
        }
        made.starts.push(made.pieces.len() as u32);
        made
    }

    /// What is known of a point of a facet; none if nothing is.
    pub(super) fn at(&self, at: SurfacePoint) -> Option<There<'_>> {
        let frame = self.frames.get(&at.facet)?;
        let [u, v, off] = frame.place(at.point_mm);
        let [i, j] = [u, v].map(f64::floor);
        let [most_i, most_j] = frame.counts.map(|count| count as f64);
        let inside = i >= 0.0 && i < most_i && j >= 0.0 && j < most_j;
        if !inside || off.abs() > OFF_MM {
            return None;
        }
        let cell = frame.first + j as usize * frame.counts[0] + i as usize;
        match self.cells.get(cell)? {
            Cell::Unknown => None,
            Cell::Alike(told) => Some(There::Alike(*told)),
            Cell::Pieces(list) => {
                let from = *self.starts.get(*list as usize)? as usize;
                let to = *self.starts.get(*list as usize + 1)? as usize;
                Some(There::Pieces(self.pieces.get(from..to)?))
            }
        }
    }

    /// What strokes do to a part of a facet, where its cells are alike; none where they are not.
    pub(super) fn on_part(&self, facet: u32, corners_mm: [DVec3; 3]) -> Option<OnPart> {
        let frame = self.frames.get(&facet)?;
        let places = corners_mm.map(|corner| frame.place(corner));
        if places.iter().any(|[_, _, off]| off.abs() > OFF_MM) {
            return None;
        }
        let range = |axis: usize| -> Option<[usize; 2]> {
            let ends = places.map(|place| place[axis]);
            let low = ends.into_iter().fold(f64::INFINITY, f64::min).floor();
            let high = ends.into_iter().fold(f64::NEG_INFINITY, f64::max).floor();
            let inside = low >= 0.0 && high < frame.counts[axis] as f64;
            inside.then_some([low as usize, high as usize])
        };
        let [[i0, i1], [j0, j1]] = [range(0)?, range(1)?];
        if (i1 - i0 + 1).saturating_mul(j1 - j0 + 1) > MOST_OF_PART {
            return None;
        }
        let first = frame.first + j0 * frame.counts[0] + i0;
        let Cell::Alike(told) = *self.cells.get(first)? else {
            return None;
        };
        let row = |j: usize| {
            let start = frame.first + j * frame.counts[0];
            self.cells.get(start + i0..=start + i1)
        };
        let alike = |row: &[Cell]| row.iter().all(|cell| *cell == Cell::Alike(told));
        let all = (j0..=j1).all(|j| row(j).is_some_and(alike));
        all.then_some(match told {
            None => OnPart::Nothing,
            Some(_) => OnPart::All,
        })
    }
}

impl Frame {
    /// About a facet, with its longest side along the rows; none if it has no area.
    fn of(corners: [DVec3; 3], wide_mm: f64) -> Option<Self> {
        let length = |i: usize| corners[i].distance(corners[(i + 1) % 3]);
        let first = (0..3).fold(0, |best, i| if length(i) > length(best) { i } else { best });
        let [a, b, c] = [0, 1, 2].map(|i| corners[(first + i) % 3]);
        let along = (b - a).try_normalize()?;
        let off = along.cross(c - a).try_normalize()?;
        let across = off.cross(along);
        let [u, v] = [(c - a).dot(along), (c - a).dot(across)];
        let origin = a - SURELY_MM * (along + across);
        let count = |mm: f64| ((mm + 2.0 * SURELY_MM) / wide_mm).floor() as usize + 1;
        // The third corner is beside the longest side, but for what rounding does.
        (u.is_finite() && v.is_finite()).then(|| Self {
            origin,
            axes: [along, across, off],
            counts: [count(a.distance(b)), count(v)],
            wide_mm,
            first: 0,
        })
    }

    /// Where a point lies, in widths of a cell along the rows and across, and in mm off the facet.
    fn place(&self, point: DVec3) -> [f64; 3] {
        let from = point - self.origin;
        let [u, v, off] = self.axes.map(|axis| from.dot(axis));
        [u / self.wide_mm, v / self.wide_mm, off]
    }

    /// The corners of a cell, mm, in two triangles.
    fn corners(&self, i: usize, j: usize) -> [[DVec3; 3]; 2] {
        let [along, across, _] = self.axes;
        let at = |i: usize, j: usize| {
            self.origin + self.wide_mm * (i as f64 * along + j as f64 * across)
        };
        let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
        [[a, b, c], [a, c, d]]
    }
}

/// Finds out what there is in each cell of a facet.
fn looked_through(
    one: &Crowded,
    frame: &Frame,
    facet: [DVec3; 3],
    marks: &[Mark],
    pieces: &Pieces,
) -> Found {
    let [across, rows] = frame.counts;
    let mut cells = Vec::with_capacity(across * rows);
    let mut lists = Vec::new();
    let room_mm = frame.wide_mm * std::f64::consts::FRAC_1_SQRT_2 + SURELY_MM;
    for j in 0..rows {
        for i in 0..across {
            let corners = frame.corners(i, j);
            let middle = corners[0][0].midpoint(corners[0][2]);
            if is_beside(facet, frame.axes[2], middle, room_mm) {
                cells.push(Cell::Unknown);
                continue;
            }
            let (told, list) = look(one, (middle, room_mm), corners, marks, pieces);
            cells.push(match told {
                OnPart::Nothing => Cell::Alike(None),
                OnPart::All => Cell::Alike(list.erases),
                OnPart::Some => {
                    lists.push(list.pieces);
                    Cell::Pieces(lists.len() as u32 - 1)
                }
            });
        }
    }
    (cells, lists)
}

/// Whether all that is within a distance of a place, mm, is beside the facet.
fn is_beside(facet: [DVec3; 3], normal: DVec3, place: DVec3, room_mm: f64) -> bool {
    (0..3).any(|i| {
        let (from, to) = (facet[i], facet[(i + 1) % 3]);
        let across = normal.cross(to - from).normalize_or_zero();
        (place - from).dot(across) < -room_mm
    })
}

/// The pieces that matter in a cell, and what they all do, if it is the same.
#[derive(Default)]
struct List {
    pieces: Vec<(u32, u32)>,
    erases: Option<bool>,
}

/// Looks at one cell, from the topmost piece down.
fn look(
    one: &Crowded,
    (middle, room_mm): (DVec3, f64),
    corners: [[DVec3; 3]; 2],
    marks: &[Mark],
    pieces: &Pieces,
) -> (OnPart, List) {
    let mut near = pieces.each_near(marks, one.lowest, (middle, room_mm), one.facet);
    near.sort_unstable_by(|a, b| b.cmp(a));
    let mut told = Told::default();
    let mut uneven = false;
    let mut list = List::default();
    let mut covered = false;
    for (number, piece) in near {
        let Some(mark) = marks.get(number as usize) else {
            continue;
        };
        list.pieces.push((number, piece));
        let stroke = &mark.stroke;
        let paints = |part| stroke.piece_paints_all(piece as usize, one.facet, part);
        covered = corners.into_iter().all(paints);
        uneven |= told.and(mark.erases, covered) == Some(OnPart::Some);
        list.erases = Some(mark.erases);
        if covered {
            break;
        }
    }
    let beneath = marks.get(one.lowest).filter(|_| one.whole && !covered);
    if let Some(mark) = beneath {
        uneven |= told.and(mark.erases, true) == Some(OnPart::Some);
        list.erases = Some(mark.erases);
        covered = true;
    }
    let known = match (uneven, covered) {
        (true, _) => OnPart::Some,
        (false, true) => OnPart::All,
        (false, false) => told.in_the_end(),
    };
    (known, list)
}
