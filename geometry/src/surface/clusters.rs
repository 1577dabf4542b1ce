//! Fewer triangles to look at: vertices that lie in one cell of a grid become one.
//!
//! J. Rossignac and P. Borrel, "Multi-resolution 3D approximations for rendering complex scenes",
//! 1993, from memory. It is for pictures; nothing should be made from what comes out.

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::refined::{Beside, Pieces};

/// One of so many triangles is looked at first.
const FEW: usize = 32;
/// Cells that are tried first, across the longest side of all.
const FINEST: f64 = 1024.0;
/// How much wider they are the next time.
const WIDER: f64 = 1.25;

/// Triangles to look at, each of a class.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Clustered {
    /// Vertices, mm: where those in each cell are in the mean.
    pub vertices: Vec<DVec3>,
    /// Triangles, wound as those they came from.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle its class.
    pub class: Vec<u32>,
}

/// Draws vertices together until no more than `most` triangles are left.
///
/// # Panics
/// If a triangle names a vertex that there is not, as slice indexing does.
pub fn clustered(
    vertices: &[DVec3],
    triangles: &[[u32; 3]],
    class: &[u32],
    most: usize,
) -> Clustered {
    let mut grid = Grid::for_most(most, vertices, triangles);
    while grid.left(vertices, triangles, 1) > most {
        grid = grid.wider();
    }
    let mut clusters = Clusters::new(grid, vertices.len(), |vertex| vertices[vertex as usize]);
    for (triangle, class) in triangles.iter().zip(class) {
        clusters.put(*triangle, 0, *class);
    }
    clusters.told()
}

/// Cells of even size.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grid {
    low_mm: DVec3,
    cell_mm: f64,
}

impl Grid {
    /// Of cells in which, as a few of some triangles tell, no more than `most` of them are left.
    pub(super) fn for_most(most: usize, vertices: &[DVec3], triangles: &[[u32; 3]]) -> Self {
        let nothing = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let (low, high) = vertices
            .iter()
            .fold(nothing, |(low, high), p| (low.min(*p), high.max(*p)));
        let mut grid = Self {
            low_mm: low,
            cell_mm: (high - low).max_element().max(1e-6) / FINEST,
        };
        while FEW * grid.left(vertices, triangles, FEW) > most {
            grid = grid.wider();
        }
        grid
    }

    pub(super) fn wider(self) -> Self {
        Self {
            cell_mm: WIDER * self.cell_mm,
            ..self
        }
    }

    /// How many of every so many triangles have their corners in three cells.
    fn left(&self, vertices: &[DVec3], triangles: &[[u32; 3]], every: usize) -> usize {
        let apart = |triangle: &&[u32; 3]| {
            let [a, b, c] = triangle.map(|v| self.key(vertices[v as usize]));
            a != b && b != c && c != a
        };
        let some = triangles.par_iter().step_by(every);
        some.filter(apart).count()
    }

    fn key(&self, place: DVec3) -> [i64; 3] {
        let place = (place - self.low_mm) / self.cell_mm;
        place.to_array().map(|v| v.floor() as i64)
    }
}

/// Marks a vertex whose cell is not known yet.
const UNKNOWN: u32 = u32::MAX;

/// Takes triangles, and keeps what is left of them in a grid.
pub(super) struct Clusters<F> {
    grid: Grid,
    vertices: Beside<F>,
    /// The number of each vertex's cell.
    cell_of: Vec<u32>,
    cells: FxHashMap<[i64; 3], u32>,
    /// For each cell the sum of its vertices, and how many they are.
    sums: Vec<(DVec3, f64)>,
    triangles: Vec<[u32; 3]>,
    class: Vec<u32>,
}

impl<F: Fn(u32) -> DVec3> Clusters<F> {
    /// Beside vertices that are there already: how many they are, and where.
    pub(super) fn new(grid: Grid, before: usize, at: F) -> Self {
        Self {
            grid,
            vertices: Beside::new(before, at),
            cell_of: vec![UNKNOWN; before],
            cells: FxHashMap::default(),
            sums: Vec::new(),
            triangles: Vec::new(),
            class: Vec::new(),
        }
    }

    /// How many triangles are left.
    pub(super) fn count(&self) -> usize {
        self.triangles.len()
    }

    /// What is left.
    pub(super) fn told(self) -> Clustered {
        let places = self.sums.iter().map(|(sum, count)| *sum / *count);
        Clustered {
            vertices: places.collect(),
            triangles: self.triangles,
            class: self.class,
        }
    }

    fn cell(&mut self, vertex: u32) -> u32 {
        let known = self.cell_of[vertex as usize];
        if known != UNKNOWN {
            return known;
        }
        let place = self.at(vertex);
        let next = self.sums.len() as u32;
        let cell = *self.cells.entry(self.grid.key(place)).or_insert(next);
        if cell == next {
            self.sums.push((DVec3::ZERO, 0.0));
        }
        let (sum, count) = &mut self.sums[cell as usize];
        *sum += place;
        *count += 1.0;
        self.cell_of[vertex as usize] = cell;
        cell
    }
}

impl<F: Fn(u32) -> DVec3> Pieces for Clusters<F> {
    fn vertex(&mut self, point_mm: DVec3) -> u32 {
        self.cell_of.push(UNKNOWN);
        self.vertices.add(point_mm)
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.vertices.at(vertex)
    }

    fn put(&mut self, triangle: [u32; 3], _: u32, class: u32) {
        let cells = triangle.map(|vertex| self.cell(vertex));
        let [a, b, c] = cells;
        if a != b && b != c && c != a {
            self.triangles.push(cells);
            self.class.push(class);
        }
    }

    fn bend(&mut self, _: u32, _: f64) {}

    fn err(&mut self, _: u32, _: f64) {}
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_triangles_are_thinned_and_the_shape_stays() {
        let side = 60u32;
        let at = |i: u32, j: u32| DVec3::new(f64::from(i), f64::from(j), f64::from(i % 3) * 0.1);
        let mut triangles = Vec::new();
        for i in 0..side {
            for j in 0..side {
                let v = |a: u32, b: u32| (i + a) * (side + 1) + j + b;
                triangles.extend([[v(0, 0), v(1, 0), v(1, 1)], [v(0, 0), v(1, 1), v(0, 1)]]);
            }
        }
        let vertices = (0..=side).flat_map(|i| (0..=side).map(move |j| at(i, j)));
        let vertices: Vec<DVec3> = vertices.collect();
        let class: Vec<u32> = (0..triangles.len() as u32).map(|t| t % 7).collect();
        let kept = clustered(&vertices, &triangles, &class, 1000);
        let count = kept.triangles.len();
        assert!(count <= 1000 && count > 200, "{count}");
        assert_eq!(kept.class.len(), count);
        let area: f64 = kept
            .triangles
            .iter()
            .map(|triangle| {
                let [a, b, c] = triangle.map(|v| kept.vertices[v as usize]);
                0.5 * (b - a).cross(c - a).z
            })
            .sum();
        assert!((area / 3600.0 - 1.0).abs() < 0.15, "{area}");
    }
}
