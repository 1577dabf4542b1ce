//! What the middle of each pixel meets, and which pixels hold an edge.

use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

use geometry::{Cancelled, Progress, SurfacePoint};
use rayon::prelude::*;

use super::caster::{Caster, Hit};

/// Neighbours whose normals differ more than this have an edge between them (cosine).
const EDGE_COSINE: f64 = 0.95;
/// Colours that differ more than this, in linear light after a square root, have an edge
/// between them.
const EDGE_COLOUR: f64 = 0.02;

/// What the middle of each pixel meets.
pub(super) struct Pixels<const N: usize> {
    pub width: usize,
    pub height: usize,
    /// Row by row, as they were cast.
    rows: Vec<Vec<Option<Hit<N>>>>,
    pixel_mm: f64,
}

impl<const N: usize> Pixels<N> {
    /// One ray through the middle of each pixel.
    pub(crate) fn cast<F>(
        caster: &Caster<'_, F, N>,
        progress: &Progress,
        span: Range<f32>,
    ) -> Result<Self, Cancelled>
    where
        F: Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
    {
        let width = caster.render.width_px.max(1) as usize;
        let height = caster.render.height_px.max(1) as usize;
        let done = AtomicUsize::new(0);
        let pair = |pair: usize| -> Result<[Vec<Option<Hit<N>>>; 2], Cancelled> {
            progress.check()?;
            let two = pair_rows(caster, width, 2 * pair);
            report(progress, &done, height.div_ceil(2), &span);
            Ok(two)
        };
        let pairs: Vec<_> = (0..height.div_ceil(2))
            .into_par_iter()
            .map(pair)
            .collect::<Result<_, _>>()?;
        let rows = pairs.into_iter().flatten().take(height).collect();
        let (one, next) = (caster.eye.ray(0.0, 0.0), caster.eye.ray(1.0, 0.0));
        let (lo, hi) = caster.stage.surface.bounds_mm();
        let middle = (lo + hi) * 0.5;
        let away = (middle - one.from_mm).length();
        let apart = (next.from_mm + next.direction * away) - (one.from_mm + one.direction * away);
        Ok(Self {
            width,
            height,
            rows,
            pixel_mm: apart.length(),
        })
    }

    /// What the middle of a pixel meets.
    pub(crate) fn at(&self, x: usize, y: usize) -> Option<&Hit<N>> {
        self.rows.get(y)?.get(x)?.as_ref()
    }

    /// Whether a pixel differs from one of its neighbours in more than shading.
    pub(crate) fn holds_edge(&self, x: usize, y: usize) -> bool {
        let own = self.at(x, y);
        let rows = y.saturating_sub(1)..(y + 2).min(self.height);
        rows.flat_map(|row| {
            let columns = x.saturating_sub(1)..(x + 2).min(self.width);
            columns.map(move |column| (column, row))
        })
        .any(|(column, row)| self.differ(own, self.at(column, row)))
    }

    /// Whether what two lines of sight no more than a pixel apart meet differs in more than
    /// shading.
    pub(crate) fn differ(&self, one: Option<&Hit<N>>, other: Option<&Hit<N>>) -> bool {
        let (Some(one), Some(other)) = (one, other) else {
            return one.is_some() != other.is_some();
        };
        if one.normal().dot(other.normal()) < EDGE_COSINE {
            return true;
        }
        // A flat face seen aslant changes depth by its slope; more than twice that is a step.
        let slope = f64::from(one.slope.max(other.slope));
        let step = f64::from((one.depth_mm - other.depth_mm).abs());
        if step > self.pixel_mm * (2.0 + 3.0 * slope) {
            return true;
        }
        let (one, other) = (one.colours(), other.colours());
        let pairs = one.as_flattened().iter().zip(other.as_flattened());
        pairs
            .map(|(a, b)| (a.max(0.0), b.max(0.0)))
            // Most colours are much too near for the roots to be needed.
            .any(|(a, b)| {
                (a - b).abs() > EDGE_COLOUR * EDGE_COLOUR
                    && (a.sqrt() - b.sqrt()).abs() > EDGE_COLOUR
            })
    }
}

/// A row and the next one. Eight rays that are looked for together go through a block of four by
/// two pixels, which meets fewer facets than eight pixels of one row.
fn pair_rows<F, const N: usize>(
    caster: &Caster<'_, F, N>,
    width: usize,
    first: usize,
) -> [Vec<Option<Hit<N>>>; 2]
where
    F: Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
{
    let blocks = (0..width).step_by(4).map(|x| x..(x + 4).min(width));
    let pixels = blocks.flat_map(|columns| {
        [0, 1]
            .into_iter()
            .flat_map(move |row| columns.clone().map(move |x| (x, row)))
    });
    let middles = pixels
        .clone()
        .map(|(x, row)| (x as f64 + 0.5, (first + row) as f64 + 0.5));
    let mut rows = [Vec::with_capacity(width), Vec::with_capacity(width)];
    for ((_, row), hit) in pixels.zip(caster.hits(middles)) {
        rows[row].push(hit);
    }
    rows
}

/// Tells the progress after each of `count` rows, within a span of the whole.
pub(super) fn report(progress: &Progress, done: &AtomicUsize, count: usize, span: &Range<f32>) {
    let done = done.fetch_add(1, Ordering::Relaxed) + 1;
    let share = done as f32 / count.max(1) as f32;
    progress.set(span.start + (span.end - span.start) * share);
}
