//! Which facets go on into which, around an edge where more than two meet.

use glam::DVec3;
use smallvec::SmallVec;

use super::edges::Edge;
use crate::Mesh;

/// A facet at an edge.
#[derive(Clone, Copy)]
struct Leaf {
    facet: u32,
    forward: bool,
    /// Turn about the edge, from a fixed direction, radians.
    angle: f64,
}

/// Pairs of facets that bound one solid, at an edge that more than two facets have.
///
/// Looking along the edge and turning counter-clockwise, solid begins at a facet that runs
/// backwards along the edge and ends at the next that runs forwards; so solids that touch
/// along the edge, or with a face beside it, are told apart. Where as many facets do not run
/// either way the surface is open or flipped, and all are taken as one.
pub(crate) fn pairs(mesh: &Mesh, edge: Edge<'_>) -> SmallVec<[[u32; 2]; 4]> {
    if edge.balance() != 0 {
        return edge
            .uses
            .windows(2)
            .map(|w| [w[0].facet(), w[1].facet()])
            .collect();
    }
    let mut leaves = leaves(mesh, edge);
    // Of facets that lie on each other, solid ends before more begins.
    leaves.sort_by(|a, b| a.angle.total_cmp(&b.angle).then(b.forward.cmp(&a.forward)));
    // Twice round, so that what begins before the first leaf is closed, too.
    let mut open: SmallVec<[u32; 4]> = SmallVec::new();
    let mut closed: SmallVec<[[u32; 2]; 4]> = SmallVec::new();
    for leaf in leaves.iter().chain(&leaves) {
        if !leaf.forward {
            if closed.iter().all(|pair| pair[0] != leaf.facet) && !open.contains(&leaf.facet) {
                open.push(leaf.facet);
            }
        } else if closed.iter().all(|pair| pair[1] != leaf.facet)
            && let Some(begun) = open.pop()
        {
            closed.push([begun, leaf.facet]);
        }
    }
    closed
}

fn leaves(mesh: &Mesh, edge: Edge<'_>) -> SmallVec<[Leaf; 8]> {
    let at = |v: u32| mesh.vertices()[v as usize];
    let from = at(edge.from);
    let axis = (at(edge.to) - from).normalize_or(DVec3::Z);
    let (u, v) = axis.any_orthonormal_pair();
    let uses = edge.uses.iter();
    uses.map(|edge_use| {
        let corners = mesh.triangles()[edge_use.facet() as usize];
        let tip = corners
            .into_iter()
            .find(|&c| c != edge.from && c != edge.to)
            .map_or(from, at);
        let arm = tip - from;
        Leaf {
            facet: edge_use.facet(),
            forward: edge_use.forward(),
            // Rounded, so that facets that lie on each other come out the same.
            angle: (arm.dot(v).atan2(arm.dot(u)) * 1e9).round(),
        }
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::{Edges, Parts, Welder};
    use crate::solids;

    /// Blocks welded where they touch.
    fn welded(blocks: &[[f64; 3]]) -> Mesh {
        let mut welder = Welder::default();
        let mut facets = Vec::new();
        for at in blocks {
            let block = solids::cuboid(DVec3::ONE).unwrap();
            let moved = block.map(|p| p + DVec3::from_array(*at)).unwrap();
            for facet in 0..moved.triangles().len() {
                facets.push(moved.corners(facet).map(|p| welder.vertex(p).unwrap()));
            }
        }
        Mesh::new(welder.into_vertices(), facets).unwrap()
    }

    #[test]
    fn solids_that_touch_are_apart() {
        let along_an_edge = welded(&[[0.0; 3], [1.0, 1.0, 0.0]]);
        let with_a_face = welded(&[[0.0; 3], [1.0, 0.0, 0.0]]);
        let round_an_edge = welded(&[[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
        for (mesh, count) in [(along_an_edge, 2), (with_a_face, 2), (round_an_edge, 3)] {
            let crowded = Edges::of(&mesh).iter().filter(|e| e.uses.len() > 2).count();
            assert!(crowded > 0);
            assert_eq!(Parts::of(&mesh).count(), count);
        }
    }
}
