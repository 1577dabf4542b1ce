//! Samples of a layer's plastic: how much lies near which part of the skin, and how much
//! deeper than colour reaches.

use geometry::DVec3;
use geometry::layers::Contour;

use super::tints::{Tally, Tint};
use geometry::{Surface, SurfacePoint};

/// The fewest rows that are laid across a layer's outline, so that small ones are not missed.
const FEWEST_ROWS: f64 = 48.0;
/// The most rows, so that large ones are done in time.
const MOST_ROWS: f64 = 1500.0;
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

/// Samples the inside of a layer's outline on rows `apart_mm` from each other. `tint_at` is
/// asked at the point of the skin nearest to each sample that is no deeper than `skin_mm`.
pub(super) fn sample(
    surface: &Surface,
    contours: &[Contour],
    height_mm: f64,
    skin_mm: f64,
    apart_mm: f64,
    mut tint_at: impl FnMut(SurfacePoint) -> Tint,
) -> Interior {
    let mut found = Interior::default();
    let rows = Rows::new(contours, apart_mm);
    for (y, inside) in rows.inside() {
        for (from, to) in inside {
            let count = ((to - from) / rows.apart_mm).ceil().max(1.0);
            let width = (to - from) / count;
            let cell = width * rows.apart_mm;
            let mut i = 0.0;
            while i < count {
                let point = DVec3::new(from + (i + 0.5) * width, y, height_mm);
                let near = surface.nearest_within(point, LOOK * skin_mm);
                let depth = near.map_or(LOOK * skin_mm, |p| p.point_mm.distance(point));
                match near {
                    Some(at) if depth <= skin_mm => {
                        found.near.add(tint_at(at), cell);
                        i += 1.0;
                    }
                    // Nothing within (depth − skin) of here can be near the skin.
                    _ => {
                        let cells = ((depth - skin_mm) / width).floor() + 1.0;
                        let cells = cells.min(count - i);
                        found.free += cell * cells;
                        i += cells;
                    }
                }
            }
        }
    }
    found
}

/// Level lines across an outline, and where they are inside of it.
struct Rows {
    first_y: f64,
    apart_mm: f64,
    /// For each row its crossings: where, and how the winding number changes there.
    crossings: Vec<Vec<(f64, i32)>>,
}

impl Rows {
    fn new(contours: &[Contour], apart_mm: f64) -> Self {
        let ys = contours
            .iter()
            .flat_map(|c| c.points_mm.iter().map(|p| p.y));
        let (low, high) = ys.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), y| {
            (lo.min(y), hi.max(y))
        });
        let extent = high - low;
        if !(extent > 0.0 && extent.is_finite()) {
            return Self {
                first_y: 0.0,
                apart_mm,
                crossings: Vec::new(),
            };
        }
        let count = (extent / apart_mm).ceil().clamp(FEWEST_ROWS, MOST_ROWS);
        let apart_mm = extent / count;
        let mut rows = Self {
            first_y: low + 0.5 * apart_mm,
            apart_mm,
            crossings: vec![Vec::new(); count as usize],
        };
        for contour in contours {
            let points = &contour.points_mm;
            let next = points.iter().skip(1).chain(points.first());
            for (a, b) in points.iter().zip(next) {
                rows.cross(*a, *b);
            }
        }
        for row in &mut rows.crossings {
            row.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        }
        rows
    }

    /// Notes where a side of the outline crosses rows; its lower end belongs to it.
    fn cross(&mut self, a: glam::DVec2, b: glam::DVec2) {
        let (low, high, turn) = if a.y < b.y { (a, b, 1) } else { (b, a, -1) };
        if low.y == high.y {
            return;
        }
        let row = |y: f64| ((y - self.first_y) / self.apart_mm).ceil().max(0.0) as usize;
        let (first, last) = (row(low.y), row(high.y).min(self.crossings.len()));
        for i in first..last {
            let y = self.first_y + self.apart_mm * i as f64;
            let t = (y - low.y) / (high.y - low.y);
            self.crossings[i].push((low.x + (high.x - low.x) * t, turn));
        }
    }

    /// Each row's height in y and the stretches of it that are inside: where the winding
    /// number is not 0. A crossing without its counterpart, from an open mesh, is left out.
    fn inside(&self) -> impl Iterator<Item = (f64, Vec<(f64, f64)>)> + '_ {
        self.crossings.iter().enumerate().map(|(i, row)| {
            let mut winding = 0;
            let mut stretches = Vec::new();
            for pair in row.windows(2) {
                winding += pair[0].1;
                if winding != 0 && pair[1].0 > pair[0].0 {
                    stretches.push((pair[0].0, pair[1].0));
                }
            }
            (self.first_y + self.apart_mm * i as f64, stretches)
        })
    }
}
