//! Closed meshes swept around the z axis.

use std::f64::consts::TAU;

use geometry::Mesh;
use geometry::mesh::MeshError;
use glam::DVec3;

/// Point of ring `ring` at `angle` (radians): its radius and height, mm.
pub(crate) trait Sweep: Fn(usize, f64) -> (f64, f64) {}
impl<F: Fn(usize, f64) -> (f64, f64)> Sweep for F {}

/// Sweeps a closed chain of rings: ring `i` joins ring `i + 1`, and the last the first.
pub(crate) fn closed_chain(
    rings: usize,
    sides: usize,
    point: impl Sweep,
) -> Result<Mesh, MeshError> {
    let vertices = ring_vertices(rings, sides, point);
    let triangles = (0..rings)
        .flat_map(|ring| strip(ring, (ring + 1) % rings, sides))
        .collect();
    Mesh::new(vertices, triangles)
}

/// Sweeps an open chain of rings from the bottom to the top and closes both ends flat.
pub(crate) fn capped_chain(
    rings: usize,
    sides: usize,
    point: impl Sweep,
) -> Result<Mesh, MeshError> {
    let mut vertices = ring_vertices(rings, sides, point);
    let mut triangles: Vec<_> = (1..rings)
        .flat_map(|ring| strip(ring - 1, ring, sides))
        .collect();
    for (ring, turned) in [(0, true), (rings - 1, false)] {
        let hub = vertices.len() as u32;
        let rim = ring * sides;
        vertices.push(DVec3::new(0.0, 0.0, vertices[rim].z));
        triangles.extend((0..sides).map(|side| {
            let (a, b) = ((rim + side) as u32, (rim + (side + 1) % sides) as u32);
            if turned { [hub, b, a] } else { [hub, a, b] }
        }));
    }
    Mesh::new(vertices, triangles)
}

fn ring_vertices(rings: usize, sides: usize, point: impl Sweep) -> Vec<DVec3> {
    let at = |ring, side| {
        let angle = TAU * side as f64 / sides as f64;
        let (radius_mm, z_mm) = point(ring, angle);
        DVec3::new(radius_mm * angle.cos(), radius_mm * angle.sin(), z_mm)
    };
    (0..rings)
        .flat_map(|ring| (0..sides).map(move |side| (ring, side)))
        .map(|(r, s)| at(r, s))
        .collect()
}

/// The facets between two rings, facing away from the axis when `below` is the lower one.
fn strip(below: usize, above: usize, sides: usize) -> impl Iterator<Item = [u32; 3]> {
    (0..sides).flat_map(move |side| {
        let next = (side + 1) % sides;
        let at = |ring: usize, side: usize| (ring * sides + side) as u32;
        let (a, b, c, d) = (
            at(below, side),
            at(below, next),
            at(above, next),
            at(above, side),
        );
        [[a, b, c], [a, c, d]]
    })
}
