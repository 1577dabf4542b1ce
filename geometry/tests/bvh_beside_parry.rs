//! Nearest points and rays beside the `parry3d` library, which searches a tree of its own in
//! single precision: both must tell the same to within that.

use std::sync::Arc;

use geometry::{DVec3, Mesh, Ray, Surface, solids};
use parry3d::math::Vector;
use parry3d::query::{PointQuery, Ray as Single, RayCast};
use parry3d::shape::TriMesh;
use proptest::prelude::*;

fn to_single(v: DVec3) -> Vector {
    Vector::new(v.x as f32, v.y as f32, v.z as f32)
}

/// A ball of 10 mm with dents, of 5120 facets.
fn part() -> Mesh {
    let ball = solids::icosphere(1.0, 4).expect("a ball");
    let dented = |p: DVec3| p * (10.0 + (5.0 * p.x).sin() * (4.0 * p.y).sin());
    ball.map(dented).expect("a dented ball")
}

fn theirs(mesh: &Mesh) -> TriMesh {
    let vertices = mesh.vertices().iter().map(|&v| to_single(v)).collect();
    TriMesh::new(vertices, mesh.triangles().to_vec()).expect("a mesh of theirs")
}

fn place(size: f64) -> impl Strategy<Value = DVec3> {
    (-size..size, -size..size, -size..size).prop_map(|(x, y, z)| DVec3::new(x, y, z))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn both_find_the_same(
        points in prop::collection::vec(place(20.0), 50),
        eye in place(60.0),
    ) {
        let mesh = part();
        let theirs = theirs(&mesh);
        let surface = Surface::new(Arc::new(mesh));
        for &point in &points {
            let ours = surface.nearest(point).point_mm.distance(point);
            let found = theirs.project_local_point(to_single(point), false);
            let off = (found.point - to_single(point)).length();
            prop_assert!((ours - f64::from(off)).abs() < 2e-5, "{ours} {off}");
        }
        let ray = |&point: &DVec3| Ray { from_mm: eye, direction: point - eye };
        let rays: Vec<Ray> = points.iter().map(ray).collect();
        for (ray, ours) in rays.iter().zip(surface.first_hits(&rays)) {
            let single = Single::new(to_single(ray.from_mm), to_single(ray.direction));
            let found = theirs.cast_local_ray(&single, f32::MAX, false);
            let length = ray.direction.length();
            match (ours, found) {
                (Some(hit), Some(t)) => {
                    let (ours, theirs) = (hit.point_mm.distance(eye), f64::from(t) * length);
                    // Where the ray grazes, single precision may meet the next fold.
                    let normal = surface.normal(hit.facet);
                    let steep = normal.dot(ray.direction / length).abs() > 0.05;
                    prop_assert!(!steep || (ours - theirs).abs() < 1e-3, "{ours} {theirs}");
                }
                (None, None) => {}
                // Only a ray along the rim can be a hit for one and none for the other.
                (ours, found) => {
                    let at = ours.map_or_else(
                        || eye + ray.direction * f64::from(found.unwrap_or(0.0)),
                        |hit| hit.point_mm,
                    );
                    let near = surface.nearest(at);
                    let normal = surface.normal(near.facet);
                    prop_assert!(normal.dot(ray.direction / length).abs() < 0.1);
                }
            }
        }
    }
}
