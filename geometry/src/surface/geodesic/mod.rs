//! Distances along the skin from what a stroke draws on it.
//!
//! The line of the stroke is drawn on the skin ([`trace`]). Distances from it are exact on the
//! mesh as it is, however thin its facets are: *windows*, parts of edges that straight ways
//! from one source reach with the facets between laid flat, are carried from facet to facet,
//! the nearest first, and where two meet on an edge each keeps the part on which it is nearer
//! (J. S. B. Mitchell, D. M. Mount, C. H. Papadimitriou, "The discrete geodesic problem",
//! *SIAM Journal on Computing* 16, 1987; in practice as V. Surazhsky et al., "Fast exact and
//! approximate geodesics on meshes", *ACM Transactions on Graphics* 24, 2005; with the filter
//! of S.-Q. Xin, G.-J. Wang, "Improving Chen and Han's algorithm on the discrete geodesic
//! problem", *ACM Transactions on Graphics* 28, 2009; all from memory).
//!
//! With n facets within reach an edge has at most O(n) windows, so the work is O(n² log n) at
//! worst, whatever the shape of the facets; each window is carried on once. On meshes as they
//! are an edge has a few: neighbouring windows are merged where that puts no distance off by
//! more than [`TOLERANCE`] of itself, the whole way from the source counted.
//!
//! Where the skin about a dab is a hill that hides nothing of itself ([`chart`]), all of the
//! dab is within reach, and no distance need be found.

use glam::DVec3;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use crate::surface::Adjacency;
use crate::{Progress, Surface};

mod chart;
mod edges;
mod fan;
mod front;
mod lanes;
mod names;
mod polar;
mod propagate;
mod seed;
mod start;
#[cfg(test)]
mod tests;
mod trace;
mod unfold;
mod window;

pub(crate) use chart::{Chart, Disc};
pub(crate) use front::Front;
pub(crate) use polar::Polar;
pub(crate) use propagate::{Bounds, Stopped};
pub(crate) use start::Start;
pub(crate) use trace::{Line, Piece, trace};

/// The share of itself by which a distance may be off.
pub(crate) const TOLERANCE: f64 = 5e-4;

/// Distances from a line on the skin, as far as its bounds let them reach.
pub(crate) struct Distances {
    surface: Surface,
    edge_names: names::Names,
    vertex_names: names::Names,
    edges: edges::Edges,
    vertices: Vec<propagate::Vertex>,
    pieces: FxHashMap<u32, SmallVec<[[DVec3; 2]; 2]>>,
    #[cfg(test)]
    steps: usize,
}

impl Distances {
    /// Finds distances from `pieces`; with room for the whole mesh, if they go `everywhere`.
    pub(crate) fn new(
        surface: &Surface,
        pieces: &[Piece],
        bounds: Bounds,
        everywhere: bool,
        progress: &Progress,
    ) -> Result<Self, Stopped> {
        let mut propagation = propagate::Propagation::new(surface, bounds, everywhere);
        let mut seen = FxHashMap::<u32, SmallVec<[[DVec3; 2]; 2]>>::default();
        for piece in pieces {
            for facet in propagation.begin(piece) {
                seen.entry(facet).or_default().push([piece.from, piece.to]);
            }
        }
        propagation.run(progress)?;
        Ok(Self {
            surface: surface.clone(),
            edge_names: propagation.edge_names,
            vertex_names: propagation.vertex_names,
            edges: propagation.edges,
            vertices: propagation.vertices,
            pieces: seen,
            #[cfg(test)]
            steps: propagation.steps,
        })
    }

    /// The distance at a point of a facet, mm; infinite where it was not reached.
    pub(crate) fn at(&self, facet: u32, point: DVec3) -> f64 {
        let mesh = self.surface.mesh();
        let mut least = f64::INFINITY;
        self.fronts(facet, |front| {
            least = least.min(front.distance(mesh, facet, point));
        });
        least
    }

    /// How many windows and vertices were carried on.
    #[cfg(test)]
    pub(crate) fn steps(&self) -> usize {
        self.steps
    }

    /// The facets that ways run over, each once.
    pub(crate) fn facets(&self) -> Vec<u32> {
        let adjacency = self.surface.adjacency();
        let sides = self.edges.edges.iter().map(|edge| edge.side);
        let beside = sides.flat_map(|side| {
            let (facet, side) = (side / 3, side as usize % 3);
            let others = adjacency.across(facet, side).map(|(f, _)| f);
            std::iter::once(facet).chain(others)
        });
        let mut facets: Vec<u32> = beside.chain(self.pieces.keys().copied()).collect();
        facets.sort_unstable();
        facets.dedup();
        facets
    }

    /// The distance at a corner of a facet, mm; infinite where it was not reached.
    pub(crate) fn at_corner(&self, facet: u32, corner: usize) -> f64 {
        let name = self.surface.mesh().triangles()[facet as usize][corner];
        let known = self.vertex_names.get(name);
        known.map_or(f64::INFINITY, |v| self.vertices[v as usize].distance)
    }

    /// Calls `each` with all that comes into a facet.
    pub(crate) fn fronts(&self, facet: u32, mut each: impl FnMut(Front)) {
        for &[from, to] in self.pieces.get(&facet).into_iter().flatten() {
            each(Front::Line { from, to });
        }
        self.named_fronts(facet, |front, _| each(front));
    }

    /// Calls `each` with what comes into a facet from beyond it, and the number of the vertex or
    /// the window that it is.
    fn named_fronts(&self, facet: u32, mut each: impl FnMut(Front, u32)) {
        for (corner, name) in self.surface.mesh().triangles()[facet as usize]
            .into_iter()
            .enumerate()
        {
            let Some(number) = self.vertex_names.get(name) else {
                continue;
            };
            let distance = self.vertices[number as usize].distance;
            if distance.is_finite() {
                let corner = corner as u8;
                each(Front::Corner { corner, distance }, number);
            }
        }
        let adjacency: &Adjacency = self.surface.adjacency();
        for side in 0..3 {
            let name = adjacency.edge(facet, side);
            let Some(edge) = self.edge_names.get(name) else {
                continue;
            };
            for (name, window) in self.edges.on(edge).filter(|(_, w)| w.facet != facet) {
                let front = Front::Window {
                    side: side as u8,
                    from: window.from,
                    to: window.to,
                    x: window.x,
                    y: window.y,
                    offset: window.offset,
                };
                each(front, name);
            }
        }
    }
}
