//! Gaps in the surface.

use glam::DVec3;
use hashbrown::HashTable;
use serde::Serialize;

use super::{CRACK_MM, Tally};
use crate::Mesh;
use crate::mesh::Edges;

/// A gap in the surface: a line of facet sides that have no neighbour.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hole {
    /// How many sides its rim has.
    pub sides: usize,
    /// Length of the rim, mm.
    pub rim_mm: f64,
    /// Area of a film over the rim, mm², by the rim's area vector: near 0 for a crack.
    pub film_mm2: f64,
    /// The middle of the rim, mm.
    pub middle_mm: DVec3,
    /// Whether the rim closes on itself.
    pub closed: bool,
}

impl Hole {
    /// Mean width, mm: that of a slit with this rim and film.
    pub fn width_mm(&self) -> f64 {
        if self.rim_mm > 0.0 {
            2.0 * self.film_mm2 / self.rim_mm
        } else {
            0.0
        }
    }
}

/// Strings sides without a neighbour into rims. Where several rims touch at a vertex, they
/// may come out as one.
pub(super) fn find(mesh: &Mesh, boundary: &[(u32, u32)]) -> Vec<Hole> {
    let mut by_start = boundary.to_vec();
    by_start.sort_unstable();
    let mut used = vec![false; by_start.len()];
    let next = |from: u32, used: &[bool]| {
        let begin = by_start.partition_point(|side| side.0 < from);
        (begin..by_start.len())
            .take_while(|&i| by_start[i].0 == from)
            .find(|&i| !used[i])
    };
    let mut holes = Vec::new();
    for first in 0..by_start.len() {
        if used[first] {
            continue;
        }
        used[first] = true;
        let (start, mut at) = by_start[first];
        let mut rim = vec![start];
        while at != start {
            rim.push(at);
            let Some(side) = next(at, &used) else {
                break;
            };
            used[side] = true;
            at = by_start[side].1;
        }
        holes.push(hole(mesh, &rim, at == start));
    }
    holes.sort_by(|a, b| b.rim_mm.total_cmp(&a.rim_mm));
    holes
}

fn hole(mesh: &Mesh, rim: &[u32], closed: bool) -> Hole {
    let points: Vec<DVec3> = rim.iter().map(|&v| mesh.vertices()[v as usize]).collect();
    let origin = points.first().copied().unwrap_or_default();
    let mut sides: Vec<(DVec3, DVec3)> = points.windows(2).map(|p| (p[0], p[1])).collect();
    if closed && let Some(&last) = points.last() {
        sides.push((last, origin));
    }
    let film: DVec3 = sides
        .iter()
        .map(|&(a, b)| (a - origin).cross(b - origin))
        .sum();
    Hole {
        sides: sides.len(),
        rim_mm: sides.iter().map(|(a, b)| a.distance(*b)).sum(),
        film_mm2: 0.5 * film.length(),
        middle_mm: points.iter().sum::<DVec3>() / points.len().max(1) as f64,
        closed,
    }
}

/// Rim vertices that lie within [`CRACK_MM`] of another one that no side joins them to.
pub(super) fn cracks(mesh: &Mesh, edges: &Edges, boundary: &[(u32, u32)]) -> Tally {
    let mut rim: Vec<u32> = boundary.iter().flat_map(|&(a, b)| [a, b]).collect();
    rim.sort_unstable();
    rim.dedup();
    let mut cells = HashTable::<([i64; 3], u32)>::new();
    for &vertex in &rim {
        let cell = cell(mesh, vertex, 0);
        cells.insert_unique(key(cell), (cell, vertex), |(c, _)| key(*c));
    }
    let mut tally = Tally::default();
    for &vertex in &rim {
        let place = mesh.vertices()[vertex as usize];
        let (low, high) = (cell(mesh, vertex, -1), cell(mesh, vertex, 1));
        let near = |other: u32| {
            other != vertex
                && mesh.vertices()[other as usize].distance(place) <= CRACK_MM
                && edges.between(vertex, other).is_none()
        };
        let mut around = (low[0]..=high[0])
            .flat_map(|x| (low[1]..=high[1]).map(move |y| (x, y)))
            .flat_map(|(x, y)| (low[2]..=high[2]).map(move |z| [x, y, z]));
        if around.any(|c| {
            cells
                .iter_hash(key(c))
                .any(|&(at, other)| at == c && near(other))
        }) {
            tally.add(|| place);
        }
    }
    tally
}

/// The cell of a vertex, in a grid twice as wide as a crack, or of the point a crack's
/// width beside it along all axes.
fn cell(mesh: &Mesh, vertex: u32, beside: i32) -> [i64; 3] {
    let place = mesh.vertices()[vertex as usize] + f64::from(beside) * CRACK_MM;
    (place / (2.0 * CRACK_MM))
        .floor()
        .to_array()
        .map(|x| x as i64)
}

fn key([x, y, z]: [i64; 3]) -> u64 {
    // Odd multipliers from the digits of π; the high half is folded down.
    let mixed = (x as u64)
        .wrapping_mul(0x243F_6A88_85A3_08D3)
        .wrapping_add((y as u64).wrapping_mul(0x1319_8A2E_0370_7345))
        .wrapping_add((z as u64).wrapping_mul(0xA409_3822_299F_31D1));
    let mixed = (mixed ^ mixed >> 32).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    mixed ^ mixed >> 32
}
