//! How much surface lies around each vertex: what bends shortest ways and fronts.

use rayon::prelude::*;

use super::adjacency::Adjacency;
use crate::Mesh;

/// A vertex with this much more or less than a full turn of surface around it is a corner
/// of the shape; with less, a point of a round one that its facets stand for.
const CORNER: f64 = 10.0 / 180.0 * std::f64::consts::PI;

/// What is around a vertex.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Turn {
    /// Whether a shortest way may bend here: where there is more than a full turn of
    /// surface, or at a rim more than half a turn.
    pub(crate) bends: bool,
    /// Gaussian curvature of the shape, 1/mm²: what lacks to a full turn, per area. Zero
    /// at a corner of the shape.
    pub(crate) gauss: f64,
}

/// The turns of all vertices of a mesh.
pub(super) fn turns(mesh: &Mesh, adjacency: &Adjacency) -> Vec<Turn> {
    let count = mesh.vertices().len();
    let angles: Vec<([f64; 3], f64)> = (0..mesh.triangles().len())
        .into_par_iter()
        .map(|facet| (angles(mesh, facet), mesh.area_vector(facet).length()))
        .collect();
    let mut sums = vec![(0.0f64, 0.0f64, false); count];
    for (facet, (angles, area)) in angles.into_iter().enumerate() {
        let corners = mesh.triangles()[facet];
        for (i, angle) in angles.into_iter().enumerate() {
            let sum = &mut sums[corners[i] as usize];
            sum.0 += angle;
            sum.1 += area / 3.0;
            if adjacency.across(facet as u32, i).next().is_none() {
                sums[corners[i] as usize].2 = true;
                sums[corners[(i + 1) % 3] as usize].2 = true;
            }
        }
    }
    let turn = |(angle, area, at_rim): (f64, f64, bool)| {
        let flat = if at_rim { 0.5 } else { 1.0 } * std::f64::consts::TAU;
        let excess = angle - flat;
        let round = !at_rim && excess.abs() <= CORNER && area > 0.0;
        Turn {
            bends: excess > CORNER,
            gauss: if round { -excess / area } else { 0.0 },
        }
    };
    sums.into_iter().map(turn).collect()
}

/// The angles of a facet at its corners.
fn angles(mesh: &Mesh, facet: usize) -> [f64; 3] {
    let corners = mesh.corners(facet);
    [0, 1, 2].map(|i| {
        let u = corners[(i + 1) % 3] - corners[i];
        let v = corners[(i + 2) % 3] - corners[i];
        u.cross(v).length().atan2(u.dot(v))
    })
}
