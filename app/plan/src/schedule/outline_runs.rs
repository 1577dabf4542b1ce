//! A walk round a layer's outline, to find regions too narrow for the nozzle.

use geometry::layers::Contour;
use geometry::{DVec3, Surface, SurfacePoint};

use super::region_steps::LayerRegions;

/// Steps of the walk in a nozzle's width.
const STEPS_IN_WIDTH: f64 = 4.0;
/// How far ahead it is looked for another region, in nozzle widths.
const FAR: f64 = 32.0;
/// Where another region was near, so many places are passed before it is looked for one again.
const PAUSE: u32 = 8;
/// What rounding may do to a point of a facet, mm.
const ON_FACET_MM: f64 = 1e-6;

/// The shortest stretch of a layer's outline that each region has, mm, as `(region, length)`.
/// Regions without any are left out, and so is a region that has a whole contour.
pub(super) fn shortest_stretches(
    surface: &Surface,
    contours: &[Contour],
    height_mm: f64,
    width_mm: f64,
    layer_regions: &LayerRegions,
) -> Vec<(usize, f64)> {
    let mut shortest: Vec<(usize, f64)> = Vec::new();
    for contour in contours {
        let (regions, step_mm) = walk(surface, contour, height_mm, width_mm, layer_regions);
        for (region, steps) in stretches(&regions) {
            let length = steps as f64 * step_mm;
            match shortest.iter_mut().find(|(r, _)| *r == region) {
                Some((_, least)) => *least = least.min(length),
                None => shortest.push((region, length)),
            }
        }
    }
    shortest
}

/// The region at even steps round a contour, and how long they are, mm; none round a sealed
/// cavity, which nobody sees.
fn walk(
    surface: &Surface,
    contour: &Contour,
    height_mm: f64,
    width_mm: f64,
    layer_regions: &LayerRegions,
) -> (Vec<usize>, f64) {
    let points = &contour.points_mm;
    let sides = points
        .iter()
        .zip(points.iter().skip(1).chain(points.first()));
    let length: f64 = sides.clone().map(|(a, b)| a.distance(*b)).sum();
    let count = (length / width_mm * STEPS_IN_WIDTH).ceil();
    if !(1.0..1e7).contains(&count) {
        return (Vec::new(), 0.0);
    }
    let step_mm = length / count;
    let count = count as usize;
    let mut ahead = Ahead {
        surface,
        layer_regions,
        closed: contour.closed,
        far_mm: FAR * width_mm,
        until_asked: 0,
    };
    let mut regions = Vec::with_capacity(count);
    let mut passed = 0.0;
    for (a, b) in sides {
        let side = a.distance(*b);
        // Steps are looked at in their middles.
        let here = ((passed + side) / step_mm - 0.5).ceil().max(0.0) as usize;
        while regions.len() < here.min(count) {
            let t = ((regions.len() as f64 + 0.5) * step_mm - passed) / side;
            let at = surface.nearest(a.lerp(*b, t).extend(height_mm));
            if surface.is_sealed(at.facet) {
                return (Vec::new(), 0.0);
            }
            let region = layer_regions.at(at).region;
            let mut even = (ahead.even_mm(at, region) / step_mm) as usize;
            let left = here - regions.len();
            if even < left
                && left > 1
                && ahead.is_even(at.facet, [*a, *b].map(|p| p.extend(height_mm)))
            {
                even = left;
            }
            regions.resize((regions.len() + even.max(1)).min(count), region);
        }
        passed += side;
    }
    (regions, step_mm)
}

/// What lies ahead on a walk round a contour.
struct Ahead<'a> {
    surface: &'a Surface,
    layer_regions: &'a LayerRegions<'a>,
    closed: bool,
    far_mm: f64,
    /// Places at which it is not looked for other regions, since one was near before.
    until_asked: u32,
}

impl Ahead<'_> {
    /// A distance along the outline within which there is no other region, mm; 0 where nothing is
    /// known. The outline is on the skin, and nowhere farther from here than along itself; but for
    /// what closes an open one.
    fn even_mm(&mut self, at: SurfacePoint, region: usize) -> f64 {
        if !self.closed || self.until_asked > 0 {
            self.until_asked = self.until_asked.saturating_sub(1);
            return 0.0;
        }
        let clear_mm = self
            .layer_regions
            .region_clearance_mm(region, at.point_mm, self.far_mm);
        if clear_mm <= 0.0 {
            self.until_asked = PAUSE;
        }
        clear_mm
    }

    /// Whether a side of the outline is surely on a facet, and of one region.
    fn is_even(&self, facet: u32, [a, b]: [DVec3; 2]) -> bool {
        [a, b]
            .iter()
            .all(|p| self.surface.is_on_facet(facet, *p, ON_FACET_MM))
            && self
                .layer_regions
                .is_of_one_region(facet, [a, b, a.midpoint(b)])
    }
}

/// Runs of the same region round a closed walk, each with its number of steps; none if the
/// whole walk is one region.
fn stretches(regions: &[usize]) -> Vec<(usize, usize)> {
    let count = regions.len();
    let Some(start) = (0..count).find(|&i| regions[i] != regions[(i + count - 1) % count]) else {
        return Vec::new();
    };
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for i in 0..count {
        let region = regions[(start + i) % count];
        match runs.last_mut() {
            Some((last, steps)) if *last == region => *steps += 1,
            _ => runs.push((region, 1)),
        }
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_close_round_the_walk() {
        assert_eq!(stretches(&[1, 2, 2, 1, 1]), [(2, 2), (1, 3)]);
        assert_eq!(stretches(&[1, 1]), []);
        assert_eq!(stretches(&[]), []);
    }
}
