use std::f64::consts::PI;

use glam::DVec3;
use proptest::prelude::*;

use super::*;
use crate::surface::shapes::{ball, block, corner_piece, finer, prism, surface, uneven_block};
use crate::{Progress, Surface};

fn v(x: f64, y: f64, z: f64) -> DVec3 {
    DVec3::new(x, y, z)
}

fn from_stroke(dabs: &[DVec3], surface: &Surface) -> PreparedField {
    let stroke = Stroke {
        dabs_mm: dabs.to_vec(),
        radius_mm: 5.0,
        reach_mm: None,
    };
    PreparedField::new(&Field::FromStroke(stroke), surface, &Progress::new()).expect("a good field")
}

/// The greatest of `|found - wanted|`, each over the greater of `wanted` and a floor.
fn worst(
    field: &PreparedField,
    surface: &Surface,
    wanted: impl IntoIterator<Item = (DVec3, f64)>,
    floor: f64,
) -> f64 {
    let errors = wanted.into_iter().map(|(p, wanted)| {
        let found = field.at(surface.nearest(p));
        (found - wanted).abs() / wanted.max(floor)
    });
    // `f64::max` would pass over what is not a number.
    errors.fold(0.0, |worst, error| match error > worst || error.is_nan() {
        true => error,
        false => worst,
    })
}

/// From the middle of a cube's top to points on one side: the two faces laid flat.
#[test]
fn across_the_edge_of_a_block_it_is_the_unfolded_distance() {
    let size = v(40.0, 40.0, 40.0);
    for mesh in [
        block(size),
        finer(&block(size), 3),
        uneven_block(size, 3),
        uneven_block(size, 5),
    ] {
        let times = mesh.triangles().len();
        let surface = surface(mesh);
        let field = from_stroke(&[v(20.0, 12.0, 40.0)], &surface);
        let mut wanted = Vec::new();
        for i in 1..20 {
            for j in 1..20 {
                let (x, down) = (2.0 * i as f64, 2.0 * j as f64);
                // Over the near edge; or over a side face, when that is shorter.
                let direct = (x - 20.0).hypot(12.0 + down);
                let right = (12.0 + (40.0 - x)).hypot(20.0 + down);
                let left = (12.0 + x).hypot(20.0 + down);
                wanted.push((v(x, 0.0, 40.0 - down), direct.min(right).min(left)));
                wanted.push((
                    v(x, 2.0 * j as f64, 40.0),
                    v(x, 2.0 * j as f64, 40.0).distance(v(20.0, 12.0, 40.0)),
                ));
            }
        }
        let error = worst(&field, &surface, wanted, 4.0);
        assert!(error < 0.01, "{times} facets: {error}");
    }
}

/// Great circles, by a sphere's mesh of about 5,000 facets.
#[test]
fn on_a_ball_it_is_the_great_circle() {
    let radius = 30.0;
    let surface = surface(ball(radius, 4));
    let start = v(0.0, 0.6, 0.8) * radius;
    let field = from_stroke(&[start], &surface);
    let mut wanted = Vec::new();
    for i in 0..400 {
        // Points spread evenly by the golden angle.
        let z = 1.0 - (i as f64 + 0.5) / 200.0;
        let angle = 2.399_963 * i as f64;
        let r = (1.0 - z * z).sqrt();
        let p = v(r * angle.cos(), r * angle.sin(), z);
        wanted.push((p * radius, radius * p.angle_between(start)));
    }
    // Ways from all sides meet at the far point.
    let (far, near): (Vec<_>, Vec<_>) = wanted.iter().partition(|(_, d)| *d > 0.8 * PI * radius);
    assert!(worst(&field, &surface, near, 4.0) < 0.01);
    assert!(worst(&field, &surface, far, 4.0) < 0.02);
}

/// A helix on the unrolled side, by a prism whose facets are as long as it is high.
#[test]
fn on_a_cylinder_it_is_the_unrolled_helix() {
    let (radius, sides) = (25.0, 128);
    let surface = surface(prism(radius, 100.0, sides));
    let step = std::f64::consts::TAU / sides as f64;
    let chord = 2.0 * radius * (0.5 * step).sin();
    let field = from_stroke(&[v(radius, 0.0, 50.0)], &surface);
    let mut wanted = Vec::new();
    for i in 0..48 {
        for z in [12.0, 30.0, 49.0, 50.0, 66.0, 88.0] {
            let angle = step * i as f64;
            let p = v(radius * angle.cos(), radius * angle.sin(), z);
            wanted.push((p, (chord * i as f64).hypot(z - 50.0)));
        }
    }
    let error = worst(&field, &surface, wanted, 4.0);
    assert!(error < 0.01, "{error}");
}

/// A straight stroke on a flat face: distance from a segment, also beyond the far edge.
#[test]
fn from_a_straight_stroke_it_is_the_distance_from_a_segment() {
    for times in [0, 3, 5] {
        let surface = surface(finer(&block(v(80.0, 60.0, 10.0)), times));
        let (a, b) = (v(20.0, 30.0, 10.0), v(60.0, 30.0, 10.0));
        let field = from_stroke(&[a, b], &surface);
        let mut wanted = Vec::new();
        for i in 0..40 {
            for j in 0..30 {
                let p = v(2.0 * i as f64 + 1.0, 2.0 * j as f64 + 1.0, 10.0);
                let q = v(p.x.clamp(20.0, 60.0), 30.0, 10.0);
                wanted.push((p, p.distance(q)));
            }
            let x = 2.0 * i as f64 + 1.0;
            let aside = x - x.clamp(20.0, 60.0);
            wanted.push((v(x, 0.0, 6.0), aside.hypot(34.0)));
        }
        let error = worst(&field, &surface, wanted, 4.0);
        assert!(error < 0.01, "cut {times} times: {error}");
    }
}

/// Round the inner corner of an L, the shortest way bends at the corner.
#[test]
fn round_an_inner_corner_the_way_bends() {
    for times in [0, 3] {
        let surface = surface(finer(&corner_piece(40.0, 30.0), times));
        let start = v(36.0, 14.0, 30.0);
        let corner = v(20.0, 20.0, 30.0);
        let field = from_stroke(&[start], &surface);
        let wanted = (0..8).flat_map(|i| {
            (0..8).map(move |j| v(18.0 - 0.5 * i as f64, 25.0 + 1.7 * j as f64, 30.0))
        });
        let wanted = wanted.map(|p| {
            // Whether the straight way would cross the missing quarter.
            let t = (20.0 - start.y) / (p.y - start.y);
            let x = start.x + t * (p.x - start.x);
            let way = if x > 20.0 {
                start.distance(corner) + corner.distance(p)
            } else {
                start.distance(p)
            };
            (p, way)
        });
        let error = worst(&field, &surface, wanted, 4.0);
        assert!(error < 0.01, "cut {times} times: {error}");
    }
}

#[test]
fn a_shell_without_the_stroke_is_infinitely_far() {
    let near = block(v(10.0, 10.0, 10.0));
    let far = near.vertices().iter().map(|&p| p + v(30.0, 0.0, 0.0));
    let vertices = near.vertices().iter().copied().chain(far).collect();
    let moved = near.triangles().iter().map(|t| t.map(|i| i + 8));
    let triangles = near.triangles().iter().copied().chain(moved).collect();
    let surface = surface(crate::Mesh::new(vertices, triangles).expect("valid"));
    let field = from_stroke(&[v(5.0, 5.0, 10.0)], &surface);
    assert!(field.at(surface.nearest(v(5.0, 5.0, 0.0))).is_finite());
    assert_eq!(field.at(surface.nearest(v(35.0, 5.0, 10.0))), f64::INFINITY);
    let (values, shares) = visible_area(&field, &surface, EVERYWHERE, 0.2, |_| true);
    assert!(values.iter().all(|v| v.is_finite()));
    assert_eq!(shares.last(), Some(&1.0));
}

/// A fade may take up but a small part of what the field covers, and a region of the part: on
/// the cap of a ball from 18 to 19 mm along x, above the middle, area goes with x (Archimedes).
#[test]
fn a_short_fade_in_a_small_region_is_told_as_finely() {
    let surface = surface(ball(20.0, 6));
    let along = Field::Direction(v(1.0, 0.0, 0.0));
    let field = PreparedField::new(&along, &surface, &Progress::new()).expect("good");
    let upper = |p: crate::SurfacePoint| p.point_mm.z > 0.0;
    let (values, shares) = visible_area(&field, &surface, (18.0, 19.0), 0.1, upper);
    assert!(values.len() > 500 && values.first() == Some(&18.0) && values.last() == Some(&19.0));
    let (low, high) = (shares[0], shares[shares.len() - 1]);
    assert!((low - 38.0 / 40.0).abs() < 2e-3 && (high - 39.0 / 40.0).abs() < 2e-3);
    for (x, share) in values.iter().zip(&shares) {
        let part = (share - low) / (high - low);
        assert!((part - (x - 18.0)).abs() < 0.02, "{x}: {part}");
    }
}

/// Archimedes, *On the Sphere and Cylinder*: a zone's area goes with its height alone.
#[test]
fn on_a_ball_visible_area_goes_with_height() {
    let surface = surface(ball(20.0, 5));
    let height = PreparedField::new(&Field::Height, &surface, &Progress::new()).expect("good");
    let (values, shares) = visible_area(&height, &surface, EVERYWHERE, 0.2, |_| true);
    for (z, share) in values.into_iter().zip(shares) {
        let wanted = (z + 20.0) / 40.0;
        assert!((share - wanted).abs() < 1e-3, "{z}: {share}, not {wanted}");
    }
}

const EVERYWHERE: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// On a prism leaning any way, visible area along its height is known exactly.
    #[test]
    fn visible_area_by_height_is_exact(height in 5.0..60.0f64, sides in 3usize..9) {
        let mesh = prism(15.0, height, sides);
        let all = mesh.area_mm2();
        let surface = surface(mesh);
        let field = PreparedField::new(&Field::Height, &surface, &Progress::new()).expect("good");
        let (values, shares) = visible_area(&field, &surface, EVERYWHERE, 0.2, |_| true);
        let inner = std::f64::consts::PI / sides as f64;
        let side = 2.0 * 15.0 * inner.sin();
        let end = sides as f64 * 0.5 * side * 15.0 * inner.cos();
        for (&z, &share) in values.iter().zip(&shares).skip(1) {
            let wanted = (end + sides as f64 * side * z) / all;
            let wanted = if z == height { 1.0 } else { wanted };
            prop_assert!((share - wanted).abs() < 1e-9, "{}: {} {}", z, share, wanted);
        }
        prop_assert_eq!(shares[0], 0.0);
    }

    /// A filter leaves out what it should.
    #[test]
    fn visible_area_under_a_filter_ends_at_one(cut in 1.0..30.0f64) {
        let surface = surface(block(v(10.0, 20.0, 31.0)));
        let field = PreparedField::new(&Field::Height, &surface, &Progress::new()).expect("good");
        let (values, shares) = visible_area(&field, &surface, EVERYWHERE, 0.2, |p| p.point_mm.z < cut);
        prop_assert!(values.last().is_some_and(|&z| (z - cut).abs() < 0.5));
        prop_assert_eq!(shares.last(), Some(&1.0));
        prop_assert!(shares.windows(2).all(|w| w[0] <= w[1]));
    }
}
