//! Which pieces touch along a line.

use rayon::prelude::*;

use super::{Pieces, base, step};
use crate::Surface;

/// The neighbours of each piece, on its own facet and across its facet's sides.
#[derive(Clone, Debug)]
pub struct Links {
    /// The first of each piece's neighbours, and of one beyond.
    firsts: Vec<u32>,
    all: Vec<u32>,
}

impl Links {
    /// Of the pieces of a surface's mesh.
    pub fn new(pieces: &Pieces, surface: &Surface) -> Self {
        let facets = surface.mesh().triangles().len();
        surface.adjacency();
        // Chunks of facets side by side, put together in order.
        const CHUNK: usize = 1 << 14;
        let chunk = |start: usize| {
            let (mut counts, mut all) = (Vec::new(), Vec::new());
            for facet in start..(start + CHUNK).min(facets) {
                of_facet(pieces, surface, facet as u32, &mut counts, &mut all);
            }
            (counts, all)
        };
        let starts: Vec<usize> = (0..facets).step_by(CHUNK).collect();
        let chunks: Vec<(Vec<u32>, Vec<u32>)> = starts.into_par_iter().map(chunk).collect();
        let mut links = Self {
            firsts: Vec::with_capacity(pieces.count() + 1),
            all: Vec::with_capacity(chunks.iter().map(|(_, all)| all.len()).sum()),
        };
        links.firsts.push(0);
        let mut end = 0;
        for (counts, all) in chunks {
            links.firsts.extend(counts.iter().map(|count| {
                end += count;
                end
            }));
            links.all.extend(all);
        }
        links
    }

    /// The links between groups of pieces, each once.
    pub(super) fn between(&self, group_of: &[u32], groups: usize) -> Self {
        // The pieces of each group, side by side.
        let mut starts = vec![0u32; groups + 1];
        for group in group_of {
            starts[*group as usize + 1] += 1;
        }
        for group in 0..groups {
            starts[group + 1] += starts[group];
        }
        let mut next = starts.clone();
        let mut members = vec![0u32; group_of.len()];
        for (piece, group) in group_of.iter().enumerate() {
            members[next[*group as usize] as usize] = piece as u32;
            next[*group as usize] += 1;
        }
        let mut links = Self {
            firsts: Vec::with_capacity(groups + 1),
            all: Vec::with_capacity(self.all.len()),
        };
        links.firsts.push(0);
        let mut around: Vec<u32> = Vec::new();
        for group in 0..groups {
            around.clear();
            let own = &members[starts[group] as usize..starts[group + 1] as usize];
            for piece in own {
                let others = self.of(*piece as usize).iter();
                around.extend(others.map(|other| group_of[*other as usize]));
            }
            around.retain(|other| *other as usize != group);
            around.sort_unstable();
            around.dedup();
            links.all.extend(&around);
            links.firsts.push(links.all.len() as u32);
        }
        links
    }

    /// The neighbours of a piece; one that touches it twice may be there twice.
    pub fn of(&self, piece: usize) -> &[u32] {
        &self.all[self.firsts[piece] as usize..self.firsts[piece + 1] as usize]
    }
}

/// Adds the neighbours of a facet's pieces, in the order of their numbers.
fn of_facet(
    pieces: &Pieces,
    surface: &Surface,
    facet: u32,
    counts: &mut Vec<u32>,
    all: &mut Vec<u32>,
) {
    let first = base(surface.mesh().corners(facet as usize)).first;
    let rows = pieces.rows[facet as usize]..pieces.rows[facet as usize + 1];
    let high = f64::from(rows.end - rows.start);
    for row in rows.clone() {
        let columns = pieces.columns(row);
        let wide = f64::from(columns);
        let up = f64::from(row - rows.start);
        for column in 0..columns {
            let before = all.len();
            let number = pieces.firsts[row as usize] + column;
            let along = (f64::from(column) / wide, f64::from(column + 1) / wide);
            if column > 0 {
                all.push(number - 1);
            } else {
                // The third side runs from the corner across back to the first one.
                let there = (1.0 - (up + 1.0) / high, 1.0 - up / high);
                across(pieces, surface, (facet, (first + 2) % 3), there, all);
            }
            if column + 1 < columns {
                all.push(number + 1);
            } else {
                let there = (up / high, (up + 1.0) / high);
                across(pieces, surface, (facet, (first + 1) % 3), there, all);
            }
            if row > rows.start {
                in_row(pieces, row - 1, along, all);
            } else {
                across(pieces, surface, (facet, first), along, all);
            }
            if row + 1 < rows.end {
                in_row(pieces, row + 1, along, all);
            }
            counts.push((all.len() - before) as u32);
        }
    }
}

/// The steps that a stretch from 0 to 1 overlaps by more than rounding.
fn overlapped((from, to): (f64, f64), steps: u32) -> std::ops::RangeInclusive<u32> {
    let room = 1e-9;
    step((from + room).min(1.0), steps)..=step((to - room).max(0.0), steps)
}

fn in_row(pieces: &Pieces, row: u32, along: (f64, f64), all: &mut Vec<u32>) {
    let first = pieces.firsts[row as usize];
    all.extend(overlapped(along, pieces.columns(row)).map(|column| first + column));
}

/// Adds the pieces on the other side of a stretch of a facet's side.
fn across(
    pieces: &Pieces,
    surface: &Surface,
    (facet, side): (u32, usize),
    (from, to): (f64, f64),
    all: &mut Vec<u32>,
) {
    let triangles = surface.mesh().triangles();
    let begins = |facet: u32, side: usize| triangles[facet as usize][side];
    for (other, other_side) in surface.adjacency().across(facet, side) {
        // As a rule it runs the other way there.
        let (from, to) = match begins(facet, side) == begins(other, other_side) {
            true => (from, to),
            false => (1.0 - to, 1.0 - from),
        };
        let first = base(surface.mesh().corners(other as usize)).first;
        let rows = pieces.rows[other as usize]..pieces.rows[other as usize + 1];
        let count = rows.end - rows.start;
        match (other_side + 3 - first) % 3 {
            0 => in_row(pieces, rows.start, (from, to), all),
            // Up the second side are the last pieces of the rows.
            1 => all.extend(
                overlapped((from, to), count)
                    .map(|row| pieces.firsts[(rows.start + row) as usize + 1] - 1),
            ),
            // Down the third are their first ones.
            _ => all.extend(
                overlapped((1.0 - to, 1.0 - from), count)
                    .map(|row| pieces.firsts[(rows.start + row) as usize]),
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::solids;

    #[test]
    fn neighbours_know_each_other_and_are_near() {
        for (mesh, size_mm) in [
            (solids::icosphere(10.0, 1).unwrap(), 0.9),
            (solids::cylinder(3.0, 40.0, 12).unwrap(), 0.6),
        ] {
            let surface = Surface::new(Arc::new(mesh));
            let mesh = surface.mesh();
            let pieces = Pieces::new(mesh, size_mm);
            let links = Links::new(&pieces, &surface);
            let middles: Vec<_> = (0..mesh.triangles().len())
                .flat_map(|f| pieces.each_of(mesh, f).map(move |p| (f, p)))
                .map(|(f, p)| {
                    let (corners, weights) = (mesh.corners(f), p.weights(0.5, 0.5));
                    (0..3).map(|i| corners[i] * weights[i]).sum::<glam::DVec3>()
                })
                .collect();
            for piece in 0..pieces.count() {
                let around = links.of(piece);
                assert!(!around.is_empty() && !around.contains(&(piece as u32)));
                for &other in around {
                    assert!(links.of(other as usize).contains(&(piece as u32)));
                    let apart = middles[piece].distance(middles[other as usize]);
                    assert!(apart < 2.0 * size_mm, "{piece} {other} {apart}");
                }
            }
        }
    }
}
