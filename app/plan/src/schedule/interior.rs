//! Samples of a layer's plastic: how much lies near which part of the skin, and how much
//! deeper than colour reaches.

use geometry::layers::{Contour, RowGrid, Rows};
use geometry::{DVec3, Surface};

use super::region_steps::{LayerRegions, Tally};
use super::{Asks, LookupCache};

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

/// Samples the inside of a layer's outline on rows `apart_mm` from each other. A sample that is no
/// deeper than `skin_mm` is near to what the point of the visible skin nearest to it has. What is
/// `known` of the layers beneath is used, and added to.
pub(super) fn sample(
    surface: &Surface,
    contours: &[Contour],
    (height_mm, skin_mm): (f64, f64),
    apart_mm: f64,
    layer_regions: &LayerRegions,
    known: &mut LookupCache,
) -> Interior {
    let mut found = Interior::default();
    let grid = RowGrid::across(contours.iter(), apart_mm, FEWEST_ROWS, MOST_ROWS);
    let rows = Rows::new(contours, grid);
    for (y, inside) in rows.iter() {
        for &(from, to) in inside {
            let count = ((to - from) / grid.apart_mm).ceil().max(1.0);
            let width = (to - from) / count;
            // Cells are counted first, so that what is known makes no difference to the sums.
            let mut cells = Cells::default();
            let mut i = 0.0;
            // No farther from the skin than the sample before, and the way from there.
            let mut most_mm = f64::INFINITY;
            while i < count {
                let point = DVec3::new(from + (i + 0.5) * width, y, height_mm);
                let (asks, around_mm, depth_mm) = match known.at(point) {
                    Some((asks, around_mm)) => (asks, around_mm, f64::INFINITY),
                    None => {
                        let look = look(surface, point, (skin_mm, most_mm), layer_regions);
                        known.learn(point, look.1, look.0);
                        look
                    }
                };
                let alike = ((around_mm / width).floor() + 1.0).min(count - i);
                cells.add(asks, alike);
                most_mm = (depth_mm + alike * width) * ROOM;
                i += alike;
            }
            cells.laid(width * grid.apart_mm, &mut found);
        }
    }
    found
}

/// What a place asks for, as far around it as all does, mm, and how far the skin is at most, mm;
/// infinite if that is not known. The skin is no farther than `most_mm`.
fn look(
    surface: &Surface,
    point: DVec3,
    (skin_mm, most_mm): (f64, f64),
    layer_regions: &LayerRegions,
) -> (Asks, f64, f64) {
    let far_mm = LOOK * skin_mm;
    let unknown = (Asks::Free, far_mm - skin_mm, f64::INFINITY);
    let within_mm = most_mm.min(far_mm);
    let Some([least_mm, most_mm]) = surface.seen_distance_between(point, within_mm) else {
        return unknown;
    };
    if least_mm > skin_mm {
        return (Asks::Free, least_mm - skin_mm, most_mm);
    }
    if let (Some(region_step), true) = (layer_regions.single(), most_mm <= skin_mm) {
        let around_mm = layer_regions.around_mm(region_step, point, most_mm);
        return (Asks::RegionStep(region_step), around_mm, most_mm);
    }
    let Some(near) = surface.nearest_seen_within(point, within_mm) else {
        return unknown;
    };
    let depth_mm = near.point_mm.distance(point);
    if depth_mm > skin_mm {
        return (Asks::Free, depth_mm - skin_mm, depth_mm);
    }
    let region_step = layer_regions.at(near);
    let around_mm = layer_regions.around_mm(region_step, point, depth_mm);
    (Asks::RegionStep(region_step), around_mm, depth_mm)
}

/// Cells of a stretch, counted.
#[derive(Default)]
struct Cells {
    near: Tally,
    free: f64,
}

impl Cells {
    fn add(&mut self, asks: Asks, count: f64) {
        match asks {
            Asks::RegionStep(region_step) => self.near.add(region_step, count),
            Asks::Free => self.free += count,
        }
    }

    /// Adds them to what was found, each of an area, mm².
    fn laid(self, cell_mm2: f64, found: &mut Interior) {
        for (region_step, count) in self.near.0 {
            found.near.add(region_step, count * cell_mm2);
        }
        found.free += self.free * cell_mm2;
    }
}
