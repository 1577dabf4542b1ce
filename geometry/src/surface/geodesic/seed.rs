//! Where ways begin: at the points and straight pieces that a stroke draws on the skin.

use glam::DVec3;
use smallvec::SmallVec;

use super::edges::ends;
use super::names::NONE;
use super::propagate::Propagation;
use super::trace::Piece;
use super::window::{Error, State, Window};
use crate::surface::facet::nearest_on_segment;

/// A point this near to a facet's side or corner lies on it, as a share of its longest side.
pub(super) const ON: f64 = 1e-9;

/// The source of a straight front lies this many times its own size behind it: what is round
/// about it then is less than rounding.
const BEHIND: f64 = 1e6;

impl Propagation<'_> {
    /// Begins at a piece. Returns the facets that see it without an edge between.
    pub(super) fn begin(&mut self, piece: &Piece) -> SmallVec<[u32; 4]> {
        let mut facets = self.begin_at(piece.facet, piece.from);
        if piece.from != piece.to {
            facets.extend(self.begin_at(piece.facet, piece.to));
            self.begin_along(piece);
        }
        facets.sort_unstable();
        facets.dedup();
        facets
    }

    /// Begins at a point of a facet, and of those beside it, if it lies on their sides too.
    fn begin_at(&mut self, facet: u32, point: DVec3) -> SmallVec<[u32; 4]> {
        let mut facets = SmallVec::<[u32; 4]>::from_slice(&[facet]);
        let mut next = 0;
        while let Some(&facet) = facets.get(next) {
            next += 1;
            let triangle = self.mesh().triangles()[facet as usize];
            let corners = self.mesh().corners(facet as usize);
            let longest = longest(corners);
            for (i, corner) in corners.into_iter().enumerate() {
                self.offer(
                    3 * facet + i as u32,
                    corner.distance(point),
                    Error::default(),
                    None,
                );
            }
            for side in 0..3 {
                let (first, last) = (corners[side], corners[(side + 1) % 3]);
                if nearest_on_segment(first, last, point).distance(point) <= ON * longest {
                    let across = self.adjacency().across(facet, side);
                    let new = across.map(|(f, _)| f).filter(|f| !facets.contains(f));
                    let new: SmallVec<[u32; 4]> = new.collect();
                    facets.extend(new);
                    continue;
                }
                let Some(edge) = self.edge(facet, side) else {
                    continue;
                };
                let length = self.edges.edges[edge as usize].length;
                let start = match ends(self.mesh(), facet, side).0 == triangle[side] {
                    true => first,
                    false => last,
                };
                let along = (last - first) * if start == first { 1.0 } else { -1.0 } / length;
                let x = (point - start).dot(along);
                let y = (point - start).cross(along).length();
                self.put(Window {
                    from: 0.0,
                    to: length,
                    x,
                    y,
                    rays: [-x / y, (length - x) / y],
                    offset: 0.0,
                    error: Error::default(),
                    edge,
                    facet,
                    next: NONE,
                    state: State::Waiting,
                });
            }
        }
        facets
    }

    /// Begins along a straight piece within a facet: a straight front to either side.
    fn begin_along(&mut self, piece: &Piece) {
        let facet = piece.facet;
        let corners = self.mesh().corners(facet as usize);
        let normal = (corners[1] - corners[0]).cross(corners[2] - corners[0]);
        let length = piece.from.distance(piece.to);
        let u = (piece.to - piece.from) / length;
        let Some(n) = normal.cross(u).try_normalize() else {
            return;
        };
        let longest = longest(corners);
        for (i, corner) in corners.into_iter().enumerate() {
            let off = nearest_on_segment(piece.from, piece.to, corner).distance(corner);
            self.offer(3 * facet + i as u32, off, Error::default(), None);
        }
        let behind = BEHIND * longest.max(length);
        for side in 0..3 {
            let Some(edge) = self.edge(facet, side) else {
                continue;
            };
            let (first, last) = (corners[side], corners[(side + 1) % 3]);
            let lower = ends(self.mesh(), facet, side).0;
            let turned = lower != self.mesh().triangles()[facet as usize][side];
            let (start, end) = if turned { (last, first) } else { (first, last) };
            let place = |p: DVec3| ((p - piece.from).dot(u), (p - piece.from).dot(n));
            let (a, b) = (place(start), place(end));
            // The stretch of the edge whose feet lie on the piece, as shares of the edge.
            let share = |at: f64| (at - a.0) / (b.0 - a.0);
            let (mut from, mut to) = (0.0f64, 1.0f64);
            if (b.0 - a.0).abs() > ON * longest {
                let (s, t) = (share(0.0), share(length));
                (from, to) = (from.max(s.min(t)), to.min(s.max(t)));
            } else if a.0 < 0.0 || a.0 > length {
                continue;
            }
            let off = |t: f64| a.1 + t * (b.1 - a.1);
            let mut cuts: SmallVec<[f64; 3]> = SmallVec::from_slice(&[from, to]);
            if (a.1 > 0.0) != (b.1 > 0.0) {
                let zero = a.1 / (a.1 - b.1);
                if zero > from && zero < to {
                    cuts.insert(1, zero);
                }
            }
            let edge_mm = self.edges.edges[edge as usize].length;
            let along = (end - start) / edge_mm;
            let outwards = match (first - corners[(side + 2) % 3]).dot(n) >= 0.0 {
                true => 1.0,
                false => -1.0,
            };
            for stretch in cuts.windows(2) {
                let middle = off(0.5 * (stretch[0] + stretch[1]));
                let sign = match middle.abs() <= ON * longest {
                    true => outwards,
                    false => middle.signum(),
                };
                let source = piece.from + u * (0.5 * length) - n * (sign * behind);
                let x = (source - start).dot(along);
                let y = (source - start - along * x).length();
                if y <= ON * behind {
                    continue;
                }
                let [from, to] = [stretch[0], stretch[1]].map(|share| share * edge_mm);
                self.put(Window {
                    from,
                    to,
                    x,
                    y,
                    rays: [from, to].map(|at| (at - x) / y),
                    offset: -behind,
                    error: Error::default(),
                    edge,
                    facet,
                    next: NONE,
                    state: State::Waiting,
                });
            }
        }
    }
}

pub(super) fn longest([a, b, c]: [DVec3; 3]) -> f64 {
    a.distance(b).max(b.distance(c)).max(c.distance(a))
}
