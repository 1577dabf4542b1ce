//! A ribbed lamp shade, 120 mm high: a thin bell with ribs that turn as they rise.

use geometry::Mesh;
use geometry::mesh::MeshError;

use crate::revolve;

const HEIGHT_MM: f64 = 120.0;
const WALL_MM: f64 = 1.6;
const RIBS: f64 = 20.0;
const RIB_MM: f64 = 1.6;
/// How far the ribs turn from bottom to top, rad.
const TWIST: f64 = 0.5;
const LEVELS: usize = 36;
const SIDES: usize = 200;

/// The shade: up the outside, down the inside.
pub(crate) fn mesh() -> Result<Mesh, MeshError> {
    revolve::closed_chain(2 * (LEVELS + 1), SIDES, |ring, angle| {
        let inside = ring > LEVELS;
        let level = if inside { 2 * LEVELS + 1 - ring } else { ring };
        let rise = level as f64 / LEVELS as f64;
        let outer = bell_mm(rise) + RIB_MM * rib(angle + TWIST * rise);
        (outer - if inside { WALL_MM } else { 0.0 }, HEIGHT_MM * rise)
    })
}

/// Radius of the bell at a fraction of its height.
fn bell_mm(rise: f64) -> f64 {
    let flare = (1.0 - rise).powi(3);
    30.0 + 14.0 * (1.0 - rise) + 12.0 * flare
}

/// A rounded rib: 1 on its crest, 0 in the groove.
fn rib(angle: f64) -> f64 {
    (0.5 + 0.5 * (RIBS * angle).cos()).sqrt()
}
