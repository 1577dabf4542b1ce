//! Finding a region on the part.

use geometry::{DVec3, Mesh, SurfacePoint};
use plan::Painted;

use super::Session;

/// Points of the skin that are looked at to find a region.
const SAMPLES: f64 = 20_000.0;

impl Session {
    /// Selects a region, and turns the view to where most of it lies.
    pub(super) fn show_region(&mut self, region: usize) {
        self.choose_region(region);
        self.view.lift_region = Some(region);
        let place = self.painted.as_ref().and_then(|p| place_of(p, region));
        if let Some((place_mm, normal)) = place {
            self.set_cursor_mm(place_mm.z);
            self.view.camera.face(normal);
        }
    }
}

/// A place in a region near the middle of what is seen of it, and the way the skin faces there.
fn place_of(painted: &Painted, region: usize) -> Option<(DVec3, DVec3)> {
    let surface = painted.surface();
    let points = spread(surface.mesh(), |facet| surface.is_unseen(facet));
    let inside: Vec<SurfacePoint> = points
        .into_iter()
        .filter(|p| painted.region_at(*p) == region)
        .collect();
    let count = inside.len().max(1) as f64;
    let middle = inside.iter().map(|p| p.point_mm).sum::<DVec3>() / count;
    let away = |p: &&SurfacePoint| p.point_mm.distance_squared(middle);
    let found = inside.iter().min_by(|a, b| away(a).total_cmp(&away(b)))?;
    Some((found.point_mm, surface.normal(found.facet)))
}

/// Points spread over the skin, as many on each facet as its area asks for: an additive recurrence
/// in the unit square, folded into the facet. Its steps are the powers of 1/ρ, where ρ³ = ρ + 1.
fn spread(mesh: &Mesh, is_unseen: impl Fn(u32) -> bool) -> Vec<SurfacePoint> {
    const STEP: [f64; 2] = [0.754_877_666_246_693, 0.569_840_290_998_053];
    let area = |facet: usize| mesh.area_vector(facet).length();
    let facets = 0..mesh.triangles().len();
    let all: f64 = facets.clone().map(area).sum();
    let mut points = Vec::new();
    let mut due = 0.5;
    for facet in facets.filter(|&f| !is_unseen(f as u32)) {
        due += SAMPLES * area(facet) / all.max(f64::MIN_POSITIVE);
        let [a, b, c] = mesh.corners(facet);
        for i in 1..=due as usize {
            let [mut u, mut v] = STEP.map(|step| (0.5 + step * i as f64).fract());
            if u + v > 1.0 {
                (u, v) = (1.0 - u, 1.0 - v);
            }
            points.push(SurfacePoint {
                point_mm: a + (b - a) * u + (c - a) * v,
                facet: facet as u32,
            });
        }
        due = due.fract();
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_lie_in_their_facets_and_everywhere() {
        let mesh = geometry::solids::cuboid(DVec3::new(4.0, 6.0, 10.0)).expect("a block");
        let points = spread(&mesh, |_| false);
        assert!((points.len() as f64 - SAMPLES).abs() <= 1.0);
        let half = DVec3::new(2.0, 3.0, 10.0) + DVec3::splat(1e-9);
        assert!(points.iter().all(|p| p.point_mm.abs().cmple(half).all()));
        // Uniform over the skin: the share of points on the upper half of the walls and the lid.
        let upper = points.iter().filter(|p| p.point_mm.z > 5.0).count() as f64;
        assert!((upper / points.len() as f64 - 0.5).abs() < 0.01);
    }
}
