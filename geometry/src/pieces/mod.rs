//! The skin cut into small pieces of about one size, each with a label.
//!
//! [`Pieces`] numbers them: a facet is cut into rows along one of its sides, and each row into
//! pieces by lines through the corner across. [`smoothed`] takes away what is too small in a
//! labelling of them, and [`Labelled`] answers what label a point has.

mod clusters;
mod labelled;
mod links;
mod smooth;

use glam::DVec3;

use crate::Mesh;

pub use labelled::{Labelled, NO_LABEL};
pub use links::Links;
pub use smooth::{Finest, smoothed};

/// The most pieces that a skin is cut into beyond one for each facet: 3 million.
const MOST_PIECES: f64 = 3e6;

/// The most rows of a facet.
const MOST_ROWS: f64 = 4096.0;

/// The pieces of a mesh's skin, numbered facet by facet.
#[derive(Clone, Debug)]
pub struct Pieces {
    size_mm: f64,
    /// The first row of each facet, and of one beyond.
    rows: Vec<u32>,
    /// The first piece of each row, and of one beyond.
    firsts: Vec<u32>,
}

/// A piece: of which facet, and where on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// The facet.
    pub facet: u32,
    /// How far up from the facet's base it begins and ends, 0 to 1 at the corner across.
    up: (f64, f64),
    /// Where between the lines from that corner to the base's ends it begins and ends.
    along: (f64, f64),
    /// The corner from which the base goes.
    first: usize,
}

impl Piece {
    /// The share of the facet's area that it has.
    pub fn share(&self) -> f64 {
        let left = |up: f64| (1.0 - up) * (1.0 - up);
        (left(self.up.0) - left(self.up.1)) * (self.along.1 - self.along.0)
    }

    /// The weights of the facet's corners at a place in it: `up` and `along` go from 0 to 1.
    pub fn weights(&self, along: f64, up: f64) -> [f64; 3] {
        let mix = |(from, to): (f64, f64), at: f64| from + (to - from) * at;
        let (up, along) = (mix(self.up, up), mix(self.along, along));
        let mut weights = [0.0; 3];
        let values = [(1.0 - up) * (1.0 - along), (1.0 - up) * along, up];
        for (step, value) in values.into_iter().enumerate() {
            weights[(self.first + step) % 3] = value;
        }
        weights
    }
}

impl Pieces {
    /// Cuts a mesh into pieces that are hardly larger than a size, or than lets there be 3 million
    /// more of them than facets.
    pub fn new(mesh: &Mesh, size_mm: f64) -> Self {
        let facets = mesh.triangles().len();
        let mut size_mm = size_mm.max(f64::MIN_POSITIVE);
        loop {
            let each = (0..facets).map(|facet| base(mesh.corners(facet)).most(size_mm));
            let beyond = each.sum::<f64>() - facets as f64;
            match beyond > MOST_PIECES {
                // Their number goes by the size or its square.
                true => size_mm *= 1.02 * (beyond / MOST_PIECES).sqrt(),
                false => return Self::of_size(mesh, size_mm),
            }
        }
    }

    fn of_size(mesh: &Mesh, size_mm: f64) -> Self {
        let facets = mesh.triangles().len();
        let mut pieces = Self {
            size_mm,
            rows: Vec::with_capacity(facets + 1),
            firsts: Vec::with_capacity(facets + 1),
        };
        let mut next = 0u32;
        for facet in 0..facets {
            pieces.rows.push(pieces.firsts.len() as u32);
            let base = base(mesh.corners(facet));
            let count = base.rows(size_mm);
            for row in 0..count as u32 {
                pieces.firsts.push(next);
                let wide_mm = base.length_mm * (1.0 - f64::from(row) / count);
                let columns = (wide_mm / size_mm).ceil().clamp(1.0, MOST_ROWS) as u32;
                next = next.saturating_add(columns);
            }
        }
        pieces.rows.push(pieces.firsts.len() as u32);
        pieces.firsts.push(next);
        pieces
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.firsts.last().map_or(0, |last| *last as usize)
    }

    /// What they are hardly larger than, mm.
    pub fn size_mm(&self) -> f64 {
        self.size_mm
    }

    /// The numbers of a facet's pieces.
    pub fn of_facet(&self, facet: usize) -> std::ops::Range<usize> {
        let first = |row: u32| self.firsts[row as usize] as usize;
        first(self.rows[facet])..first(self.rows[facet + 1])
    }

    /// The pieces of a facet, in the order of their numbers.
    pub fn each_of(&self, mesh: &Mesh, facet: usize) -> impl Iterator<Item = Piece> + '_ {
        let first = base(mesh.corners(facet)).first;
        let rows = self.rows[facet]..self.rows[facet + 1];
        let count = rows.len() as f64;
        rows.enumerate().flat_map(move |(row, index)| {
            let columns = self.columns(index);
            let up = (row as f64 / count, (row + 1) as f64 / count);
            (0..columns).map(move |column| Piece {
                facet: facet as u32,
                up,
                along: (
                    f64::from(column) / f64::from(columns),
                    f64::from(column + 1) / f64::from(columns),
                ),
                first,
            })
        })
    }

    fn columns(&self, row: u32) -> u32 {
        self.firsts[row as usize + 1] - self.firsts[row as usize]
    }

    /// The number of the piece of a facet that has a point; one off the facet counts as its
    /// nearest by weights.
    pub fn at(&self, mesh: &Mesh, facet: u32, point: DVec3) -> usize {
        let corners = mesh.corners(facet as usize);
        let first = base(corners).first;
        let weights = weights(corners, point);
        let [from, to, across] = [0, 1, 2].map(|step| weights[(first + step) % 3].max(0.0));
        let sum = from + to + across;
        let up = if sum > 0.0 { across / sum } else { 0.0 };
        let along = if from + to > 0.0 {
            to / (from + to)
        } else {
            0.0
        };
        let rows = self.rows[facet as usize]..self.rows[facet as usize + 1];
        let row = rows.start + step(up, rows.len() as u32);
        (self.firsts[row as usize] + step(along, self.columns(row))) as usize
    }
}

/// Which of so many even steps from 0 to 1 a place is in.
fn step(place: f64, steps: u32) -> u32 {
    ((place * f64::from(steps)) as u32).min(steps - 1)
}

/// The side of a facet that its rows go along.
#[derive(Clone, Copy, Debug)]
struct Base {
    /// The corner from which it goes.
    first: usize,
    /// Its length, mm.
    length_mm: f64,
    /// How far it is to the corner across, and how far along the side that corner lies from the
    /// farther end of it; the greater of the two, mm. So many rows keep pieces from leaning.
    across_mm: f64,
}

impl Base {
    /// Into how many rows its facet is cut.
    fn rows(&self, size_mm: f64) -> f64 {
        (self.across_mm / size_mm).ceil().clamp(1.0, MOST_ROWS)
    }

    /// A number of pieces that its facet has no more than.
    fn most(&self, size_mm: f64) -> f64 {
        let columns = (self.length_mm / size_mm).ceil().clamp(1.0, MOST_ROWS);
        // Rows grow shorter evenly; each is rounded up to whole pieces.
        self.rows(size_mm) * (0.5 * (columns + 1.0) + 0.5).min(columns)
    }
}

/// The side over which the lines to the corner across lean least.
fn base(corners: [DVec3; 3]) -> Base {
    let of = |first: usize| {
        let [from, to, across] = [0, 1, 2].map(|step| corners[(first + step) % 3]);
        let (side, up) = (to - from, across - from);
        let length_mm = side.length();
        let foot_mm = side.dot(up) / length_mm.max(f64::MIN_POSITIVE);
        let high_mm = side.cross(up).length() / length_mm.max(f64::MIN_POSITIVE);
        let off_mm = foot_mm.abs().max((length_mm - foot_mm).abs());
        let base = Base {
            first,
            length_mm,
            across_mm: high_mm.max(off_mm),
        };
        // Each height is the same area over its side.
        (off_mm * length_mm, base)
    };
    let mut best = of(0);
    for side in [of(1), of(2)] {
        if side.0 < best.0 {
            best = side;
        }
    }
    best.1
}

/// Weights of a triangle's corners at a point, or at its foot on the triangle's plane.
pub fn weights([a, b, c]: [DVec3; 3], point: DVec3) -> [f64; 3] {
    let (u, v, w) = (b - a, c - a, point - a);
    let (uu, uv, vv) = (u.dot(u), u.dot(v), v.dot(v));
    let (uw, vw) = (u.dot(w), v.dot(w));
    let area = uu * vv - uv * uv;
    if area <= 0.0 {
        return [1.0, 0.0, 0.0];
    }
    let (to, across) = ((vv * uw - uv * vw) / area, (uu * vw - uv * uw) / area);
    [1.0 - to - across, to, across]
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solids;

    #[test]
    fn a_point_is_in_the_piece_that_says_so() {
        let ball = solids::icosphere(10.0, 2).unwrap();
        let pieces = Pieces::new(&ball, 0.7);
        let mut number = 0;
        for facet in 0..ball.triangles().len() {
            let corners = ball.corners(facet);
            let mut share = 0.0;
            for piece in pieces.each_of(&ball, facet) {
                for (along, up) in [(0.5, 0.5), (0.05, 0.1), (0.95, 0.9)] {
                    let weights = piece.weights(along, up);
                    let point = (0..3).map(|i| corners[i] * weights[i]).sum();
                    assert_eq!(pieces.at(&ball, facet as u32, point), number);
                }
                share += piece.share();
                number += 1;
            }
            assert!((share - 1.0).abs() < 1e-12);
        }
        assert_eq!(number, pieces.count());
    }

    #[test]
    fn long_thin_facets_do_not_make_many_pieces() {
        let rod = solids::cylinder(1.0, 300.0, 128).unwrap();
        let pieces = Pieces::new(&rod, 0.25);
        // Each facet is one piece wide, or two.
        let along = 256.0 * 300.0 / 0.25;
        assert!(
            (pieces.count() as f64) < 1.1 * along,
            "{} {along}",
            pieces.count()
        );
    }

    proptest! {
        #[test]
        fn weights_are_of_the_point(a in -9.0..9.0f64, b in -9.0..9.0f64, u in 0.0..1.0f64, v in 0.0..1.0f64) {
            let corners = [DVec3::new(a, 0.0, 1.0), DVec3::new(3.0, b, 20.0), DVec3::new(30.0, 1.0, a)];
            let wanted = [1.0 - u - v * (1.0 - u), u, v * (1.0 - u)];
            let point: DVec3 = (0..3).map(|i| corners[i] * wanted[i]).sum();
            let found = weights(corners, point);
            for i in 0..3 {
                prop_assert!((found[i] - wanted[i]).abs() < 1e-9);
            }
        }
    }
}
