//! From rays to pixels: one ray each, then more of them in pixels that hold an edge.

use std::ops::Range;
use std::sync::atomic::AtomicUsize;

use geometry::{Cancelled, Progress, SurfacePoint};
use rayon::prelude::*;

use super::caster::{Caster, Hit};
use super::image::{Image, encoded};
use super::light::Light;
use super::occlusion::Occlusion;
use super::pixels::{Pixels, report};
use super::setup::Background;

/// A colour in linear light, multiplied by how much of the pixel it covers.
#[derive(Clone, Copy, Default)]
struct Covered {
    rgb: [f64; 3],
    cover: f64,
}

impl<F, const N: usize> Caster<'_, F, N>
where
    F: Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
{
    fn shaded(
        &self,
        hit: Option<&Hit<N>>,
        (x_px, y_px): (f64, f64),
        light: &Light,
        open: &Occlusion,
    ) -> [Covered; N] {
        match hit {
            Some(hit) => {
                let share = open.at(x_px, y_px, hit.point.point_mm, hit.normal);
                let lit = light.on(hit.normal, share);
                hit.colours.map(|colour| Covered {
                    rgb: colour.map(|c| c.clamp(0.0, 1.0) * lit),
                    cover: 1.0,
                })
            }
            None => [self.behind(x_px, y_px); N],
        }
    }

    fn behind(&self, x_px: f64, y_px: f64) -> Covered {
        let shadow = match self.render.shadow {
            true => self.stage.ground.shadow(&self.eye.ray(x_px, y_px)),
            false => 0.0,
        };
        match self.render.background {
            Background::Clear => Covered {
                rgb: [0.0; 3],
                cover: shadow,
            },
            Background::Paper(paper) => Covered {
                rgb: paper.map(|c| c * (1.0 - shadow)),
                cover: 1.0,
            },
        }
    }

    /// The mean of a grid of rays.
    fn sampled(
        &self,
        (x, y): (usize, usize),
        samples: u32,
        light: &Light,
        open: &Occlusion,
    ) -> [Covered; N] {
        let count = f64::from(samples);
        let place = |i: u32| {
            let (row, column) = (i / samples, i % samples);
            // Each row is shifted a little, so an upright edge meets more than `samples`
            // different columns.
            let shift = (f64::from(row) + 0.5) / count - 0.5;
            let at_x = x as f64 + (f64::from(column) + 0.5 + shift) / count;
            let at_y = y as f64 + (f64::from(row) + 0.5) / count;
            (at_x, at_y)
        };
        let places = (0..samples * samples).map(place);
        let mut sums = [Covered::default(); N];
        for (hit, place) in self.hits(places.clone()).iter().zip(places) {
            let each = self.shaded(hit.as_ref(), place, light, open);
            for (sum, one) in sums.iter_mut().zip(each) {
                sum.cover += one.cover;
                for (total, part) in sum.rgb.iter_mut().zip(one.rgb) {
                    *total += part;
                }
            }
        }
        let share = 1.0 / (count * count);
        sums.map(|sum| Covered {
            rgb: sum.rgb.map(|c| c * share),
            cover: sum.cover * share,
        })
    }
}

/// The finished pictures.
pub(super) fn resolve<F, const N: usize>(
    pixels: &Pixels<N>,
    caster: &Caster<'_, F, N>,
    open: &Occlusion,
    progress: &Progress,
    span: Range<f32>,
) -> Result<[Image; N], Cancelled>
where
    F: Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
{
    let (right, up) = caster.eye.axes();
    let light = Light::for_view(caster.eye.toward, right, up);
    let samples = caster.render.edge_samples.clamp(1, 16);
    let done = AtomicUsize::new(0);
    // The same rows of all pictures, one beside the other.
    let rows: Vec<[Vec<u8>; N]> = (0..pixels.height)
        .into_par_iter()
        .map(|y| {
            progress.check()?;
            let mut rows = [(); N].map(|()| Vec::with_capacity(4 * pixels.width));
            for x in 0..pixels.width {
                let covered = match samples > 1 && pixels.holds_edge(x, y) {
                    true => caster.sampled((x, y), samples, &light, open),
                    false => {
                        let middle = (x as f64 + 0.5, y as f64 + 0.5);
                        caster.shaded(pixels.at(x, y), middle, &light, open)
                    }
                };
                for (row, covered) in rows.iter_mut().zip(covered) {
                    row.extend(encoded(covered.rgb, covered.cover));
                }
            }
            report(progress, &done, pixels.height, &span);
            Ok(rows)
        })
        .collect::<Result<_, Cancelled>>()?;
    Ok(std::array::from_fn(|n| {
        let mut image = Image::clear(pixels.width as u32, pixels.height as u32);
        for (row, made) in image.rows_mut().zip(&rows) {
            row.copy_from_slice(&made[n]);
        }
        image
    }))
}
