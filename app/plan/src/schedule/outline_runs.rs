//! A walk round a layer's outline, to find regions too narrow for the nozzle.

use geometry::Surface;
use geometry::layers::Contour;

use super::region_steps::LayerRegions;

/// RampSteps of the walk in a nozzle's width.
const STEPS_IN_WIDTH: f64 = 4.0;

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
    let mut regions = Vec::with_capacity(count as usize);
    let mut passed = 0.0;
    for (a, b) in sides {
        let side = a.distance(*b);
        while (regions.len() as f64 + 0.5) * step_mm < passed + side {
            let t = ((regions.len() as f64 + 0.5) * step_mm - passed) / side;
            let at = surface.nearest(a.lerp(*b, t).extend(height_mm));
            if surface.is_sealed(at.facet) {
                return (Vec::new(), 0.0);
            }
            regions.push(layer_regions.at(at).region);
        }
        passed += side;
    }
    (regions, step_mm)
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
