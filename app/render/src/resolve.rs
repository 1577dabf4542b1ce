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

impl<F> Caster<'_, F>
where
    F: Fn(SurfacePoint) -> [f64; 3] + Sync,
{
    fn shaded(
        &self,
        hit: Option<&Hit>,
        (x_px, y_px): (f64, f64),
        light: &Light,
        open: &Occlusion,
    ) -> Covered {
        match hit {
            Some(hit) => {
                let share = open.at(x_px, y_px, hit.point.point_mm, hit.normal);
                let lit = light.on(hit.normal, share);
                Covered {
                    rgb: hit.colour.map(|c| c.clamp(0.0, 1.0) * lit),
                    cover: 1.0,
                }
            }
            None => self.behind(x_px, y_px),
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
    ) -> Covered {
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
        let mut sum = Covered::default();
        for (hit, place) in self.hits(places.clone()).iter().zip(places) {
            let one = self.shaded(hit.as_ref(), place, light, open);
            sum.cover += one.cover;
            for (total, part) in sum.rgb.iter_mut().zip(one.rgb) {
                *total += part;
            }
        }
        let share = 1.0 / (count * count);
        Covered {
            rgb: sum.rgb.map(|c| c * share),
            cover: sum.cover * share,
        }
    }
}

/// The finished picture.
pub(super) fn resolve<F>(
    pixels: &Pixels,
    caster: &Caster<'_, F>,
    open: &Occlusion,
    progress: &Progress,
    span: Range<f32>,
) -> Result<Image, Cancelled>
where
    F: Fn(SurfacePoint) -> [f64; 3] + Sync,
{
    let (right, up) = caster.eye.axes();
    let light = Light::for_view(caster.eye.toward, right, up);
    let samples = caster.render.edge_samples.clamp(1, 16);
    let mut image = Image::clear(pixels.width as u32, pixels.height as u32);
    let done = AtomicUsize::new(0);
    image
        .rows_mut()
        .enumerate()
        .par_bridge()
        .try_for_each(|(y, row)| {
            progress.check()?;
            for (x, pixel) in row.chunks_exact_mut(4).enumerate() {
                let covered = match samples > 1 && pixels.holds_edge(x, y) {
                    true => caster.sampled((x, y), samples, &light, open),
                    false => {
                        let middle = (x as f64 + 0.5, y as f64 + 0.5);
                        caster.shaded(pixels.at(x, y), middle, &light, open)
                    }
                };
                pixel.copy_from_slice(&encoded(covered.rgb, covered.cover));
            }
            report(progress, &done, pixels.height, &span);
            Ok(())
        })?;
    Ok(image)
}
