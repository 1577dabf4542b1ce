//! Samples of a layer's plastic: how much lies near which part of the skin, and how much
//! deeper than colour reaches.

use geometry::DVec3;
use geometry::layers::{Contour, RowGrid, Rows};

use super::region_steps::{RegionStep, Tally};
use geometry::{Surface, SurfacePoint};

/// The fewest rows that are laid across a layer's outline, so that small ones are not missed.
const FEWEST_ROWS: usize = 48;
/// The most rows, so that large ones are done in time.
const MOST_ROWS: usize = 1500;
/// Room for what rounding does to the length of a way.
const ROOM: f64 = 1.0 + 1e-9;
/// How far the skin is looked for, in depths of colour.
const LOOK: f64 = 4.0;

/// Areas of a layer's cut, mm², by what they are near to.
#[derive(Debug, Default)]
pub(super) struct Interior {
    /// Within reach of colour.
    pub near: Tally,
    /// Deeper.
    pub free: f64,
}

/// Samples the inside of a layer's outline on rows `apart_mm` from each other. `region_step_at` is
/// asked at the point of the visible skin nearest to each sample that is no deeper than `skin_mm`.
pub(super) fn sample(
    surface: &Surface,
    contours: &[Contour],
    height_mm: f64,
    skin_mm: f64,
    apart_mm: f64,
    mut region_step_at: impl FnMut(SurfacePoint) -> RegionStep,
) -> Interior {
    let mut found = Interior::default();
    let grid = RowGrid::across(contours.iter(), apart_mm, FEWEST_ROWS, MOST_ROWS);
    let rows = Rows::new(contours, grid);
    for (y, inside) in rows.iter() {
        for &(from, to) in inside {
            let count = ((to - from) / grid.apart_mm).ceil().max(1.0);
            let width = (to - from) / count;
            let cell = width * grid.apart_mm;
            let mut i = 0.0;
            // No farther from the skin than the sample before, and the way from there.
            let mut most_mm = f64::INFINITY;
            while i < count {
                let point = DVec3::new(from + (i + 0.5) * width, y, height_mm);
                let near = surface.nearest_seen_within(point, most_mm.min(LOOK * skin_mm));
                let depth = near.map_or(LOOK * skin_mm, |p| p.point_mm.distance(point));
                let cells = match near {
                    Some(at) if depth <= skin_mm => {
                        found.near.add(region_step_at(at), cell);
                        1.0
                    }
                    // Nothing within (depth − skin) of here can be near the skin.
                    _ => {
                        let cells = ((depth - skin_mm) / width).floor() + 1.0;
                        let cells = cells.min(count - i);
                        found.free += cell * cells;
                        cells
                    }
                };
                most_mm = match near {
                    Some(_) => (depth + cells * width) * ROOM,
                    None => f64::INFINITY,
                };
                i += cells;
            }
        }
    }
    found
}
