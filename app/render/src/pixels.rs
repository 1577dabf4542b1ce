//! From rays to pixels: one ray each, then more of them in pixels that hold an edge.

use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

use geometry::{Cancelled, DVec3, Progress, Ray, SurfacePoint};
use rayon::prelude::*;

use super::light::Light;
use super::occlusion::Occlusion;
use super::{Background, Caster, Image};

/// Neighbours whose normals differ more than this have an edge between them (cosine).
const EDGE_COSINE: f64 = 0.95;
/// Colours that differ more than this, in linear light after a square root, have an edge
/// between them.
const EDGE_COLOUR: f64 = 0.02;

/// What a line of sight meets on the part.
pub(super) struct Hit {
    pub point: SurfacePoint,
    pub normal: DVec3,
    pub colour: [f64; 3],
    /// Distance along the line of sight, mm.
    depth_mm: f64,
    /// How fast depth changes per mm across the line of sight, for a flat face.
    slope: f64,
}

/// What the middle of each pixel meets.
pub(super) struct Pixels {
    pub width: usize,
    pub height: usize,
    hits: Vec<Option<Hit>>,
    pixel_mm: f64,
}

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
    /// What the lines of sight through places of the picture, in pixels, meet.
    fn hits(&self, places: impl Iterator<Item = (f64, f64)>) -> Vec<Option<Hit>> {
        let rays: Vec<Ray> = places.map(|(x, y)| self.eye.ray(x, y)).collect();
        let points = self.stage.surface.first_hits(&rays);
        let seen = rays.iter().zip(points);
        seen.map(|(ray, point)| Some(self.hit(ray, point?)))
            .collect()
    }

    fn hit(&self, ray: &Ray, point: SurfacePoint) -> Hit {
        let mesh = self.stage.surface.mesh();
        let normal = self.stage.normals.at(mesh, point, -ray.direction);
        let cosine = normal.dot(-ray.direction).clamp(0.05, 1.0);
        Hit {
            point,
            normal,
            colour: (self.colour)(point),
            depth_mm: (point.point_mm - ray.from_mm).length(),
            slope: (1.0 - cosine * cosine).sqrt() / cosine,
        }
    }

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
}

impl Pixels {
    /// One ray through the middle of each pixel.
    pub fn cast<F>(
        caster: &Caster<'_, F>,
        progress: &Progress,
        span: Range<f32>,
    ) -> Result<Self, Cancelled>
    where
        F: Fn(SurfacePoint) -> [f64; 3] + Sync,
    {
        let width = caster.render.width_px.max(1) as usize;
        let height = caster.render.height_px.max(1) as usize;
        let done = AtomicUsize::new(0);
        let row = |y: usize| -> Result<Vec<Option<Hit>>, Cancelled> {
            progress.check()?;
            let middles = (0..width).map(|x| (x as f64 + 0.5, y as f64 + 0.5));
            let row = caster.hits(middles);
            report(progress, &done, height, &span);
            Ok(row)
        };
        let rows: Vec<Vec<Option<Hit>>> = (0..height)
            .into_par_iter()
            .map(row)
            .collect::<Result<_, _>>()?;
        let (one, next) = (caster.eye.ray(0.0, 0.0), caster.eye.ray(1.0, 0.0));
        let (lo, hi) = caster.stage.surface.mesh().bounds();
        let middle = (lo + hi) * 0.5;
        let away = (middle - one.from_mm).length();
        let apart = (next.from_mm + next.direction * away) - (one.from_mm + one.direction * away);
        Ok(Self {
            width,
            height,
            hits: rows.into_iter().flatten().collect(),
            pixel_mm: apart.length(),
        })
    }

    /// What the middle of a pixel meets.
    pub fn at(&self, x: usize, y: usize) -> Option<&Hit> {
        self.hits.get(y * self.width + x)?.as_ref()
    }

    /// The finished picture.
    pub fn resolve<F>(
        &self,
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
        let mut image = Image::clear(self.width as u32, self.height as u32);
        let done = AtomicUsize::new(0);
        image
            .rows_mut()
            .enumerate()
            .par_bridge()
            .try_for_each(|(y, row)| {
                progress.check()?;
                for (x, pixel) in row.chunks_exact_mut(4).enumerate() {
                    let covered = match samples > 1 && self.holds_edge(x, y) {
                        true => self.sampled(caster, (x, y), samples, &light, open),
                        false => {
                            let middle = (x as f64 + 0.5, y as f64 + 0.5);
                            caster.shaded(self.at(x, y), middle, &light, open)
                        }
                    };
                    pixel.copy_from_slice(&super::image::encoded(covered.rgb, covered.cover));
                }
                report(progress, &done, self.height, &span);
                Ok(())
            })?;
        Ok(image)
    }

    /// The mean of a grid of rays.
    fn sampled<F>(
        &self,
        caster: &Caster<'_, F>,
        (x, y): (usize, usize),
        samples: u32,
        light: &Light,
        open: &Occlusion,
    ) -> Covered
    where
        F: Fn(SurfacePoint) -> [f64; 3] + Sync,
    {
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
        for (hit, place) in caster.hits(places.clone()).iter().zip(places) {
            let one = caster.shaded(hit.as_ref(), place, light, open);
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

    /// Whether a pixel differs from one of its neighbours in more than shading.
    fn holds_edge(&self, x: usize, y: usize) -> bool {
        let own = self.at(x, y);
        let rows = y.saturating_sub(1)..(y + 2).min(self.height);
        rows.flat_map(|row| {
            let columns = x.saturating_sub(1)..(x + 2).min(self.width);
            columns.map(move |column| (column, row))
        })
        .any(|(column, row)| self.differ(own, self.at(column, row)))
    }

    fn differ(&self, one: Option<&Hit>, other: Option<&Hit>) -> bool {
        let (Some(one), Some(other)) = (one, other) else {
            return one.is_some() != other.is_some();
        };
        if one.normal.dot(other.normal) < EDGE_COSINE {
            return true;
        }
        // A flat face seen aslant changes depth by its slope; more than twice that is a step.
        let slope = one.slope.max(other.slope);
        let step = (one.depth_mm - other.depth_mm).abs();
        if step > self.pixel_mm * (2.0 + 3.0 * slope) {
            return true;
        }
        let roots = one.colour.iter().zip(&other.colour);
        roots
            .map(|(a, b)| (a.max(0.0).sqrt() - b.max(0.0).sqrt()).abs())
            .any(|d| d > EDGE_COLOUR)
    }
}

/// Tells the progress after each of `count` rows, within a span of the whole.
pub(super) fn report(progress: &Progress, done: &AtomicUsize, count: usize, span: &Range<f32>) {
    let done = done.fetch_add(1, Ordering::Relaxed) + 1;
    let share = done as f32 / count.max(1) as f32;
    progress.set(span.start + (span.end - span.start) * share);
}
