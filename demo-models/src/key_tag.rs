//! A tag for the café's key: an egg-shaped plate, 42 mm long and 3 mm thick, with soft edges.
//! A toolpath shows which way round it lies, as it would not of a disk.

use geometry::mesh::MeshError;
use geometry::{DVec3, Mesh};

use crate::revolve;

const SIDES: usize = 180;

/// How much farther the blunt end is from the axis than the sides, mm.
const BLUNT_MM: f64 = 6.0;

/// The edge from the bed up: how far within the outline, and the height, mm.
const EDGE: [(f64, f64); 4] = [(0.6, 0.0), (0.0, 0.6), (0.0, 2.4), (0.6, 3.0)];

/// The tag.
pub(crate) fn mesh() -> Result<Mesh, MeshError> {
    let egg = revolve::capped_chain(EDGE.len(), SIDES, |ring, angle| {
        let (within_mm, z_mm) = EDGE[ring];
        (21.0 + BLUNT_MM * angle.cos() - within_mm, z_mm)
    })?;
    // With its middle on the axis, as the letters have theirs.
    let middle = DVec3::X * BLUNT_MM;
    egg.map(|v| v - middle)
}
