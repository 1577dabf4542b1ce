//! Distances along the skin from what a stroke draws on it.
//!
//! The line of the stroke is drawn on the skin ([`trace`]), the skin is cut finer around
//! it where its facets are coarse, and the distance is marched outwards ([`march`]).

use glam::DVec3;

use super::bisection::Bisection;
use super::facet::{barycentric, nearest_on_segment};
use crate::{Cancelled, Progress, Surface};

mod march;
mod trace;

pub(crate) use march::Front;
pub(crate) use trace::{Piece, trace};

/// How fine the skin is cut: no side longer than `finest_mm`, or than the share
/// `1 / sides_per_distance` of its distance from the stroke, whichever is longer.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fineness {
    pub(crate) finest_mm: f64,
    pub(crate) sides_per_distance: f64,
    pub(crate) most_nodes: usize,
}

impl Fineness {
    /// Whether a side is too long, given the distance of a point from the stroke.
    pub(crate) fn too_long(&self, a: DVec3, b: DVec3, from_stroke: impl Fn(DVec3) -> f64) -> bool {
        let length = a.distance(b);
        if length <= self.finest_mm {
            return false;
        }
        let near = from_stroke(a.midpoint(b)) - 0.5 * length;
        length * self.sides_per_distance > near
    }
}

/// Distances along a piece of the skin, at the vertices of its bisection.
#[derive(Clone)]
pub(crate) struct Distances {
    mesh: Bisection,
    at_vertex: Vec<f64>,
}

impl Distances {
    /// Marches from `pieces`, whose facets are given as roots of `mesh`, up to a limit.
    pub(crate) fn new(
        surface: &Surface,
        mesh: Bisection,
        pieces: &[Piece],
        limit_mm: f64,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let mut march = march::March::new(&mesh, surface);
        for piece in pieces {
            mesh.leaves_of(piece.facet, |leaf| {
                for v in leaf.corners {
                    march.seed(v, front_of(piece, mesh.vertices[v as usize]));
                }
            });
        }
        march.run(limit_mm, progress)?;
        let at_vertex = march.into_distances();
        Ok(Self { mesh, at_vertex })
    }

    /// The distance at a point of a root, mm; infinite where it was not reached.
    pub(crate) fn at(&self, root: u32, point: DVec3) -> f64 {
        let weights = barycentric(self.mesh.corners(root), point);
        let (leaf, weights) = self.mesh.locate(root, weights);
        let corners = self.mesh.nodes[leaf as usize].corners;
        let parts = corners.into_iter().zip(weights);
        // A weight of zero must not turn an unreached corner into "not a number".
        let parts = parts.filter(|&(_, w)| w > 0.0);
        parts.map(|(v, w)| self.at_vertex[v as usize] * w).sum()
    }

    /// The least and the greatest distance at the vertices of a root's parts.
    pub(crate) fn range(&self, root: u32) -> (f64, f64) {
        let mut range = (f64::INFINITY, 0.0f64);
        self.mesh.leaves_of(root, |leaf| {
            for v in leaf.corners {
                let d = self.at_vertex[v as usize];
                range = (range.0.min(d), range.1.max(d));
            }
        });
        range
    }
}

/// The front that a piece sends to a point of its own facet: exact, as a facet is flat.
fn front_of(piece: &Piece, point: DVec3) -> Front {
    let foot = nearest_on_segment(piece.from, piece.to, point);
    let distance = foot.distance(point);
    let round = (piece.ends[0] && foot == piece.from) || (piece.ends[1] && foot == piece.to);
    let radius = if round { distance } else { f64::INFINITY };
    Front { distance, radius }
}
