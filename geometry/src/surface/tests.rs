use proptest::prelude::*;

use super::*;
use facet::{ShearedRay, nearest_on};

fn point(range: f64) -> impl Strategy<Value = DVec3> {
    (-range..range, -range..range, -range..range).prop_map(|(x, y, z)| DVec3::new(x, y, z))
}

/// Triangles at random, some of them without area.
fn soup() -> impl Strategy<Value = Mesh> {
    let corners = prop::collection::vec(point(10.0), 3..40);
    (corners, prop::collection::vec(any::<[u16; 3]>(), 1..60)).prop_map(|(vertices, picks)| {
        let count = vertices.len() as u32;
        let triangles = picks
            .iter()
            .map(|t| t.map(|i| u32::from(i) % count))
            .collect();
        Mesh::new(vertices, triangles).expect("indices are in range")
    })
}

/// Samples of a triangle can be no nearer than its nearest point.
fn nearest_by_sampling(corners: [DVec3; 3], p: DVec3) -> f64 {
    let [a, b, c] = corners;
    let steps = 60;
    let mut least = f64::INFINITY;
    for i in 0..=steps {
        for j in 0..=steps - i {
            let (u, v) = (i as f64 / steps as f64, j as f64 / steps as f64);
            least = least.min((a + (b - a) * u + (c - a) * v).distance(p));
        }
    }
    least
}

proptest! {
    #[test]
    fn nearest_on_a_facet_agrees_with_sampling(
        a in point(5.0), b in point(5.0), c in point(5.0), p in point(8.0)
    ) {
        let found = nearest_on([a, b, c], p).distance(p);
        let sampled = nearest_by_sampling([a, b, c], p);
        prop_assert!(found <= sampled + 1e-9);
        let step = a.distance(b).max(a.distance(c)) / 60.0;
        prop_assert!(sampled <= found + step);
    }

    #[test]
    fn tree_and_brute_force_find_the_same_nearest_point(
        mesh in soup(), p in point(30.0), offset in point(3000.0)
    ) {
        let moved = mesh.vertices().iter().map(|&v| v + offset).collect();
        let mesh = Arc::new(Mesh::new(moved, mesh.triangles().to_vec()).expect("still valid"));
        let p = p + offset;
        let surface = Surface::new(mesh.clone());
        let found = surface.nearest(p);
        let brute = (0..mesh.triangles().len())
            .map(|f| nearest_on(mesh.corners(f), p).distance(p))
            .fold(f64::INFINITY, f64::min);
        prop_assert!((found.point_mm.distance(p) - brute).abs() <= 1e-12 * brute.max(1.0));
        let on_facet = nearest_on(mesh.corners(found.facet as usize), p);
        prop_assert_eq!(on_facet, found.point_mm);
        prop_assert!(surface.nearest_within(p, brute * 0.999 - 1e-9).is_none());
        prop_assert!(surface.nearest_within(p, brute * 1.001 + 1e-9).is_some());
    }

    #[test]
    fn tree_and_brute_force_find_the_same_first_hit(
        mesh in soup(), from in point(200.0), towards in point(8.0)
    ) {
        let mesh = Arc::new(mesh);
        let surface = Surface::new(mesh.clone());
        let direction = (towards - from).normalize_or_zero();
        prop_assume!(direction != DVec3::ZERO);
        let ray = ShearedRay::new(from, direction);
        let brute = (0..mesh.triangles().len())
            .filter_map(|f| ray.meets(mesh.corners(f)))
            .fold(f64::INFINITY, f64::min);
        match surface.first_hit(from, (towards - from) * 3.0) {
            Some(hit) => prop_assert!((hit.point_mm.distance(from) - brute).abs() < 1e-9),
            None => prop_assert!(brute.is_infinite()),
        }
    }
}

proptest! {
    #[test]
    fn neighbours_are_the_facets_that_share_two_corners(mesh in soup()) {
        let surface = Surface::new(Arc::new(mesh));
        let triangles = surface.mesh().triangles();
        let proper = |t: &[u32; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
        for (f, a) in triangles.iter().enumerate() {
            for side in 0..3 {
                let ends = [a[side], a[(side + 1) % 3]];
                let mut found: Vec<u32> = surface
                    .adjacency()
                    .across(f as u32, side)
                    .map(|(other, _)| other)
                    .collect();
                found.sort_unstable();
                let shares = |(g, b): &(usize, &[u32; 3])| {
                    *g != f && proper(a) && proper(b) && ends.iter().all(|v| b.contains(v))
                };
                let wanted = triangles.iter().enumerate().filter(shares);
                let wanted: Vec<u32> = wanted.map(|(g, _)| g as u32).collect();
                prop_assert_eq!(found, wanted);
            }
        }
        for f in 0..triangles.len() as u32 {
            for (other, _) in surface.adjacency().neighbours(f) {
                prop_assert_eq!(surface.shells()[f as usize], surface.shells()[other as usize]);
            }
        }
    }
}

proptest! {
    #[test]
    fn rays_together_meet_what_each_meets_alone(
        mesh in soup(),
        ends in prop::collection::vec((point(60.0), point(8.0)), 0..20),
        spread in 0.0..1.0_f64,
    ) {
        let surface = Surface::new(Arc::new(mesh));
        // From far apart to nearly the same, as the rays of a picture are.
        let first = ends.first().map_or((DVec3::ZERO, DVec3::ZERO), |e| *e);
        let ray = |&(from, towards): &(DVec3, DVec3)| Ray {
            from_mm: first.0.lerp(from, spread),
            direction: first.1.lerp(towards, spread) - first.0.lerp(from, spread),
        };
        let rays: Vec<Ray> = ends.iter().map(ray).collect();
        let alone: Vec<_> = rays
            .iter()
            .map(|ray| surface.first_hit(ray.from_mm, ray.direction))
            .collect();
        prop_assert_eq!(surface.first_hits(&rays), alone);
    }
}

/// A closed tetrahedron: a ray at its inside must hit, even through an edge or a corner.
#[test]
fn no_ray_slips_between_facets() {
    let v = |x: f64, y: f64, z: f64| DVec3::new(x, y, z);
    let vertices = vec![
        v(0.1, 0.2, 0.3),
        v(9.7, 0.4, 0.1),
        v(0.3, 8.9, 0.7),
        v(0.5, 0.6, 7.3),
    ];
    let triangles = vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]];
    let mesh = Mesh::new(vertices.clone(), triangles).expect("valid");
    let surface = Surface::new(Arc::new(mesh));
    let inside = vertices.iter().copied().sum::<DVec3>() * 0.25;
    for i in 0..4 {
        for j in 0..4 {
            for step in 0..50 {
                let target = vertices[i].lerp(vertices[j], step as f64 / 50.0);
                let direction = target - inside;
                assert!(surface.first_hit(inside, direction).is_some());
                assert!(surface.first_hit(target + direction, -direction).is_some());
            }
        }
    }
}

#[test]
fn a_point_that_is_no_number_is_answered() {
    let vertices = vec![DVec3::ZERO, DVec3::X, DVec3::Y];
    let mesh = Mesh::new(vertices, vec![[0, 1, 2]]).expect("valid");
    let surface = Surface::new(Arc::new(mesh));
    assert_eq!(surface.nearest(DVec3::NAN).facet, 0);
    assert!(surface.first_hit(DVec3::NAN, DVec3::X).is_none());
    assert!(surface.first_hit(DVec3::ZERO, DVec3::ZERO).is_none());
    let rays = [(DVec3::NAN, DVec3::X), (DVec3::ZERO, DVec3::ZERO)];
    let rays = rays.map(|(from_mm, direction)| Ray { from_mm, direction });
    assert_eq!(surface.first_hits(&rays), [None, None]);
}
