//! From rays to pixels: one ray each, then more of them in pixels beside which there is an edge.

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
                let (point_mm, normal) = (hit.point_mm(&self.eye.ray(x_px, y_px)), hit.normal());
                let share = open.at(x_px, y_px, point_mm, normal);
                let lit = light.on(normal, share);
                hit.colours().map(|colour| Covered {
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

    /// The mean of a grid of rays, or of the first of them where those meet no edge.
    fn sampled(
        &self,
        pixels: &Pixels<N>,
        (x, y): (usize, usize),
        grid: &Grid,
        light: &Light,
        open: &Occlusion,
    ) -> [Covered; N] {
        let mut sums = [Covered::default(); N];
        let mut count = 0.0;
        let mut add = |places: &[(f64, f64)]| {
            let places = places.iter().map(|(u, v)| (x as f64 + u, y as f64 + v));
            let hits = self.hits(places.clone());
            for (hit, place) in hits.iter().zip(places) {
                count += 1.0;
                let each = self.shaded(hit.as_ref(), place, light, open);
                for (sum, one) in sums.iter_mut().zip(each) {
                    sum.cover += one.cover;
                    for (total, part) in sum.rgb.iter_mut().zip(one.rgb) {
                        *total += part;
                    }
                }
            }
            hits
        };
        let first = add(&grid.first);
        let differ = |(i, one): (usize, &Option<Hit<N>>)| {
            let mut others = first.iter().skip(i + 1);
            others.any(|other| pixels.differ(one.as_ref(), other.as_ref()))
        };
        if first.iter().enumerate().any(differ) {
            add(&grid.rest);
        }
        sums.map(|sum| Covered {
            rgb: sum.rgb.map(|c| c / count),
            cover: sum.cover / count,
        })
    }
}

/// Where the rays go through a pixel that may hold an edge, as parts of its width and height.
struct Grid {
    /// Those that tell whether it does, spread over the pixel.
    first: Vec<(f64, f64)>,
    rest: Vec<(f64, f64)>,
}

impl Grid {
    /// So many rows and columns.
    fn of(samples: u32) -> Self {
        let count = f64::from(samples);
        // In no row and no column of a grid of four twice.
        let first = [1, 3, 0, 2].iter().enumerate().map(|(row, column)| {
            let part = |i: u32| (2 * i + 1) * samples / 8;
            (part(row as u32), part(*column))
        });
        let first: Vec<(u32, u32)> = first.collect();
        let place = |(row, column): (u32, u32)| {
            // Each row is shifted a little, so an upright edge meets more than `samples`
            // different columns.
            let shift = (f64::from(row) + 0.5) / count - 0.5;
            let along = (f64::from(column) + 0.5 + shift) / count;
            (along, (f64::from(row) + 0.5) / count)
        };
        let all = (0..samples * samples).map(|i| (i / samples, i % samples));
        let rest = all
            .filter(|cell| !first.contains(cell))
            .map(place)
            .collect();
        Self {
            first: first.into_iter().map(place).collect(),
            rest,
        }
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
    let grid = Grid::of(samples);
    let done = AtomicUsize::new(0);
    // The same rows of all pictures, one beside the other.
    let rows: Vec<[Vec<u8>; N]> = (0..pixels.height)
        .into_par_iter()
        .map(|y| {
            progress.check()?;
            let mut rows = [(); N].map(|()| Vec::with_capacity(4 * pixels.width));
            for x in 0..pixels.width {
                let covered = match samples > 1 && pixels.holds_edge(x, y) {
                    true => caster.sampled(pixels, (x, y), &grid, &light, open),
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
