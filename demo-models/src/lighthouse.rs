//! A lighthouse on a rock, 112 mm high, in one closed shell.

use geometry::Mesh;
use geometry::mesh::MeshError;

use crate::revolve;

const SIDES: usize = 144;
const ROCK_TOP_MM: f64 = 24.0;
const ROCK_LEVELS: usize = 24;
/// The round foot under the rock: radius and height, mm. It is the widest part and stands even
/// on all sides, so the tower's axis stays over the middle of the bed when the part is placed.
const FOOT: [(f64, f64); 2] = [(40.5, 0.0), (40.5, 1.0)];

/// Corners of the tower's profile above the rock: radius and height, mm.
const TOWER: [(f64, f64); 15] = [
    (14.0, 24.0),
    (12.9, 36.0),
    (11.9, 48.0),
    (11.0, 60.0),
    (10.2, 72.0),
    (9.6, 82.0),
    (13.0, 85.4),
    (13.0, 88.0),
    (12.2, 88.0),
    (7.6, 88.0),
    (7.6, 100.0),
    (9.4, 100.0),
    (9.4, 101.2),
    (1.2, 109.6),
    (1.2, 112.0),
];

/// The lighthouse.
pub(crate) fn mesh() -> Result<Mesh, MeshError> {
    let rings = FOOT.len() + ROCK_LEVELS + TOWER.len();
    revolve::capped_chain(rings, SIDES, |ring, angle| {
        let above_foot = ring.checked_sub(FOOT.len());
        match (
            above_foot,
            above_foot.and_then(|r| r.checked_sub(ROCK_LEVELS)),
        ) {
            (_, Some(corner)) => TOWER[corner],
            (Some(level), _) => rock(level as f64 / ROCK_LEVELS as f64, angle),
            _ => FOOT[ring],
        }
    })
}

/// The rock at a fraction of its height: a rough cone with ledges, drawn in to the tower's foot.
fn rock(rise: f64, angle: f64) -> (f64, f64) {
    let slope_mm = 36.0 - 19.0 * rise.powf(0.8);
    let rough = 0.55 * (3.0 * angle + 4.0 * rise).sin()
        + 0.30 * (7.0 * angle - 9.0 * rise + 1.0).sin()
        + 0.22 * (13.0 * angle + 21.0 * rise + 2.0).sin()
        + 0.18 * (29.0 * rise + 2.0 * angle).sin();
    let foot_mm = FOOT[1].1;
    (
        slope_mm + 3.2 * rough * (1.0 - rise * rise),
        foot_mm + (ROCK_TOP_MM - foot_mm) * rise,
    )
}
