//! The soft shadow of the part on the ground that it stands on.

use geometry::{Cancelled, DVec3, Progress, Ray, Surface};
use rayon::prelude::*;

use super::ambient::{hemisphere, obstacle};

/// Cells across the longer side of the shadow.
const CELLS: usize = 112;
/// Rays from each cell.
const RAYS: u32 = 24;
/// How far the shadow may reach beyond the part, as a share of its size.
const REACH: f64 = 0.26;
/// The most that the shadow takes from the paper.
const DARKEST: f64 = 0.4;

/// How much of the sky the part hides, over a grid of the ground around it.
#[derive(Clone, Debug)]
pub(crate) struct Ground {
    corner: DVec3,
    reach_mm: f64,
    cell_mm: f64,
    columns: usize,
    rows: usize,
    hidden: Vec<f32>,
}

impl Ground {
    /// Casts rays from the ground into the sky.
    ///
    /// # Errors
    /// [`Cancelled`].
    pub(crate) fn under(surface: &Surface, progress: &Progress) -> Result<Self, Cancelled> {
        let (lo, hi) = surface.bounds_mm();
        let reach = (hi - lo).length().max(1e-6) * REACH;
        let corner = DVec3::new(lo.x - reach, lo.y - reach, 0.0);
        let (width, depth) = (hi.x - lo.x + 2.0 * reach, hi.y - lo.y + 2.0 * reach);
        let cell_mm = width.max(depth) / CELLS as f64;
        let columns = (width / cell_mm).ceil() as usize + 1;
        let rows = (depth / cell_mm).ceil() as usize + 1;
        let row = |row: usize| -> Result<Vec<f32>, Cancelled> {
            progress.check()?;
            let cell = |column: usize| {
                let place = corner + DVec3::new(column as f64, row as f64, 0.0) * cell_mm;
                hidden(surface, place, reach, (column + row * columns) as u32)
            };
            Ok((0..columns).map(cell).collect())
        };
        let hidden: Vec<Vec<f32>> = (0..rows)
            .into_par_iter()
            .map(row)
            .collect::<Result<_, _>>()?;
        let mut ground = Self {
            corner,
            reach_mm: reach,
            cell_mm,
            columns,
            rows,
            hidden: hidden.concat(),
        };
        ground.soften();
        Ok(ground)
    }

    /// How far the shadow reaches beyond the part.
    pub(crate) fn reach_mm(&self) -> f64 {
        self.reach_mm
    }

    /// How much the paper is darkened where a line of sight meets the ground, 0 to 1.
    pub(super) fn shadow(&self, ray: &Ray) -> f64 {
        if ray.direction.z > -1e-6 || ray.from_mm.z <= 0.0 {
            return 0.0;
        }
        let place = ray.from_mm - ray.direction * (ray.from_mm.z / ray.direction.z);
        DARKEST * self.at(place)
    }

    /// Hidden share of the sky between the cells; none outside the grid.
    fn at(&self, place: DVec3) -> f64 {
        let grid = (place - self.corner) / self.cell_mm;
        let inside = |v: f64, count: usize| v >= 0.0 && v < (count - 1) as f64;
        if !inside(grid.x, self.columns) || !inside(grid.y, self.rows) {
            return 0.0;
        }
        let (column, row) = (grid.x as usize, grid.y as usize);
        let (fx, fy) = (grid.x.fract(), grid.y.fract());
        let cell =
            |c: usize, r: usize| f64::from(self.hidden[(row + r) * self.columns + column + c]);
        let near = cell(0, 0) * (1.0 - fx) + cell(1, 0) * fx;
        let far = cell(0, 1) * (1.0 - fx) + cell(1, 1) * fx;
        near * (1.0 - fy) + far * fy
    }

    /// Takes away the grain of few rays: two passes over the neighbours, and a fall to
    /// nothing at the rim of the grid.
    fn soften(&mut self) {
        for _ in 0..2 {
            let old = self.hidden.clone();
            let get = |c: isize, r: isize| {
                let c = c.clamp(0, self.columns as isize - 1) as usize;
                let r = r.clamp(0, self.rows as isize - 1) as usize;
                old[r * self.columns + c]
            };
            for (i, cell) in self.hidden.iter_mut().enumerate() {
                let (c, r) = ((i % self.columns) as isize, (i / self.columns) as isize);
                let mut sum = 0.0;
                for (dr, wr) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                    for (dc, wc) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                        sum += get(c + dc, r + dr) * wr * wc;
                    }
                }
                *cell = sum / 16.0;
            }
        }
        let rim = 0.14;
        let fall = |i: usize, count: usize| {
            let t = i as f32 / (count.max(2) - 1) as f32;
            let t = (t.min(1.0 - t) / rim).clamp(0.0, 1.0);
            t * t * (3.0 - 2.0 * t)
        };
        for (i, cell) in self.hidden.iter_mut().enumerate() {
            *cell *= fall(i % self.columns, self.columns) * fall(i / self.columns, self.rows);
        }
    }
}

/// Hidden share of the sky over one place of the ground.
fn hidden(surface: &Surface, place: DVec3, reach: f64, seed: u32) -> f32 {
    // A hair above the ground, so the part's own underside counts as an obstacle.
    let from = place - DVec3::Z * (reach * 1e-4);
    let sum: f64 = (0..RAYS)
        .map(|i| hemisphere(DVec3::Z, i, RAYS, seed))
        .map(|direction| obstacle(surface, from, direction, reach))
        .sum();
    (sum / f64::from(RAYS)) as f32
}
