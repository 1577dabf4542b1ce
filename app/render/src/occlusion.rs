//! How much of the sky over a point of the skin is free of nearby obstacles.
//!
//! Rays are spent at every second pixel each way, in a 4 × 4 pattern of different
//! directions; a smoothing that stays on one face then joins the sixteen patterns.

use std::ops::Range;

use geometry::{Cancelled, DVec3, Progress, Surface, SurfacePoint, Vec3};
use rayon::prelude::*;

use super::ambient::{fall, hemisphere, obstacle};
use super::caster::Caster;
use super::pixels::{Pixels, report};

/// Obstacles further off than this share of the part's size count for nothing.
const REACH: f64 = 0.22;

/// One sample of every 2 × 2 pixels.
const STEP: usize = 2;

/// Free share of the sky on a coarser grid than the picture's.
pub(super) struct Occlusion {
    columns: usize,
    rows: usize,
    open: Vec<Option<Open>>,
    /// Distance from a face within which a sample belongs to it, mm.
    near_mm: f32,
}

#[derive(Clone, Copy)]
struct Open {
    point_mm: Vec3,
    normal: Vec3,
    share: f32,
}

impl Occlusion {
    /// Casts the rays and smooths the result.
    pub(crate) fn cast<F, const N: usize>(
        caster: &Caster<'_, F, N>,
        pixels: &Pixels<N>,
        progress: &Progress,
        span: Range<f32>,
    ) -> Result<Self, Cancelled>
    where
        F: Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
    {
        let surface = &caster.stage.surface;
        let (lo, hi) = surface.bounds_mm();
        let size = (hi - lo).length();
        let rays = caster.render.occlusion_rays;
        let columns = pixels.width.div_ceil(STEP);
        let rows = pixels.height.div_ceil(STEP);
        let done = std::sync::atomic::AtomicUsize::new(0);
        let row = |row: usize| -> Result<Vec<Option<Open>>, Cancelled> {
            progress.check()?;
            let cell = |column: usize| {
                let hit = pixels.at(column * STEP, row * STEP)?;
                let pattern = (column % 4 + (row % 4) * 4) as u32;
                let middle = ((column * STEP) as f64 + 0.5, (row * STEP) as f64 + 0.5);
                let point_mm = hit.point_mm(&caster.eye.ray(middle.0, middle.1));
                let share = open_share(surface, (point_mm, hit.normal()), size, rays, pattern);
                Some(Open {
                    point_mm: point_mm.as_vec3(),
                    normal: hit.normal().as_vec3(),
                    share: share as f32,
                })
            };
            let cells = (0..columns).map(cell).collect();
            report(progress, &done, rows, &span);
            Ok(cells)
        };
        let cells: Vec<Vec<Option<Open>>> = (0..rows)
            .into_par_iter()
            .map(row)
            .collect::<Result<_, _>>()?;
        let raw = Self {
            columns,
            rows,
            open: cells.concat(),
            near_mm: (size * 0.01) as f32,
        };
        Ok(raw.smoothed())
    }

    /// Free share of the sky over a point seen at a place of the picture.
    pub(crate) fn at(&self, x_px: f64, y_px: f64, point_mm: DVec3, normal: DVec3) -> f64 {
        let column = (x_px / STEP as f64).floor() as isize;
        let row = (y_px / STEP as f64).floor() as isize;
        let (point_mm, normal) = (point_mm.as_vec3(), normal.as_vec3());
        self.joined(column - 1..column + 3, row - 1..row + 3, point_mm, normal)
            .map_or(1.0, f64::from)
    }

    fn smoothed(&self) -> Self {
        let smooth = |i: usize| {
            let own = self.open[i]?;
            let (column, row) = ((i % self.columns) as isize, (i / self.columns) as isize);
            let share = self
                .joined(
                    column - 2..column + 3,
                    row - 2..row + 3,
                    own.point_mm,
                    own.normal,
                )
                .unwrap_or(own.share);
            Some(Open { share, ..own })
        };
        Self {
            open: (0..self.open.len()).into_par_iter().map(smooth).collect(),
            ..*self
        }
    }

    /// The mean over some cells of those samples that lie on the same face.
    fn joined(
        &self,
        columns: Range<isize>,
        rows: Range<isize>,
        point_mm: Vec3,
        normal: Vec3,
    ) -> Option<f32> {
        let (mut sum, mut weights) = (0.0, 0.0);
        for row in rows.start.max(0)..rows.end.min(self.rows as isize) {
            for column in columns.start.max(0)..columns.end.min(self.columns as isize) {
                let Some(other) = self.open[row as usize * self.columns + column as usize] else {
                    continue;
                };
                let off = (other.point_mm - point_mm).dot(normal).abs() / self.near_mm;
                let turned = normal.dot(other.normal).max(0.0);
                let weight = turned.powi(8) / (1.0 + off * off * 8.0);
                sum += weight * other.share;
                weights += weight;
            }
        }
        (weights > 1e-6).then(|| sum / weights)
    }
}

/// Free share of the sky over one hit.
fn open_share(
    surface: &Surface,
    (point_mm, normal): (DVec3, DVec3),
    size: f64,
    rays: u32,
    pattern: u32,
) -> f64 {
    if rays == 0 {
        return 1.0;
    }
    let reach = size * REACH;
    let from = point_mm + normal * (size * 2e-4);
    let hidden: f64 = (0..rays)
        .map(|i| hemisphere(normal, i * 16 + pattern, rays * 16, 0))
        .map(|direction| {
            let part = obstacle(surface, from, direction, reach);
            part.max(0.6 * ground(from, direction, reach))
        })
        .sum();
    1.0 - hidden / f64::from(rays)
}

/// The same for the ground.
fn ground(from: DVec3, direction: DVec3, reach: f64) -> f64 {
    if direction.z >= -1e-9 {
        return 0.0;
    }
    fall((from.z / -direction.z).max(0.0) / reach)
}
