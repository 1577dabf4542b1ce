//! Layers against closed forms, and against each other.

use std::f64::consts::PI;

use glam::{DMat3, DVec3};
use proptest::prelude::*;

use super::*;
use crate::solids::{self, polygon_area_mm2, polygon_perimeter_mm};
use crate::{Mesh, Progress};

fn close(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * b.abs().max(1e-300)
}

fn moved(mesh: &Mesh, by: impl Fn(DVec3) -> DVec3) -> Mesh {
    let vertices = mesh.vertices().iter().map(|&v| by(v)).collect();
    Mesh::new(vertices, mesh.triangles().to_vec()).unwrap()
}

fn on_plate(mesh: &Mesh) -> Mesh {
    let (lo, _) = mesh.bounds();
    moved(mesh, |v| v - DVec3::Z * lo.z)
}

fn cut_evenly(mesh: &Mesh, layer_mm: f64) -> Vec<Layer> {
    cut(
        mesh,
        &LayerPlan::plain(layer_mm, layer_mm),
        &Progress::new(),
    )
    .unwrap()
}

/// Archimedes, On the Sphere and Cylinder: a zone's area is 2πRh, a cap's volume
/// πh²(3R−h)/3.
#[test]
fn a_fine_sphere_comes_near_archimedes() {
    let radius = 10.0;
    let ball = solids::icosphere(radius, 6).unwrap();
    for (bottom, top) in [(-10.0, -7.5), (-3.0, 1.0), (0.0, 10.0), (8.0, 9.0)] {
        let part = between(&ball, bottom, top);
        let cap = |z: f64| PI * (z + radius).powi(2) * (3.0 * radius - (z + radius)) / 3.0;
        assert!(close(
            part.skin_mm2,
            2.0 * PI * radius * (top - bottom),
            2e-3
        ));
        assert!(close(part.volume_mm3, cap(top) - cap(bottom), 2e-3));
    }
}

/// The error of an inscribed sphere falls by four with each split.
#[test]
fn a_finer_sphere_comes_nearer() {
    let error = |splits| {
        let ball = solids::icosphere(10.0, splits).unwrap();
        let part = between(&ball, -4.0, 2.0);
        let exact = PI * (100.0 * 6.0 - (8.0 + 64.0) / 3.0);
        (part.volume_mm3 - exact).abs()
    };
    let (coarse, fine) = (error(4), error(5));
    assert!((3.5..4.5).contains(&(coarse / fine)), "{coarse} {fine}");
}

#[test]
fn a_frustum_is_exact_at_every_height() {
    let n = 24;
    let mesh = solids::frustum(12.0, 5.0, 20.0, n).unwrap();
    let radius = |z: f64| 12.0 - 7.0 * z / 20.0;
    for z in [0.5, 7.0, 13.3, 20.0] {
        let section = slice(&mesh, z);
        assert_eq!((section.contours.len(), section.open_ends), (1, 0));
        assert!(close(
            section.area_mm2(),
            polygon_area_mm2(radius(z), n),
            1e-12
        ));
        let perimeter = polygon_perimeter_mm(radius(z), n);
        assert!(close(section.perimeter_mm(), perimeter, 1e-12));
    }
    for (bottom, top) in [(0.0, 20.0), (1.0, 1.2), (5.0, 19.0)] {
        let (a, b) = (
            polygon_area_mm2(radius(bottom), n),
            polygon_area_mm2(radius(top), n),
        );
        let volume = (top - bottom) / 3.0 * (a + b + (a * b).sqrt());
        assert!(close(between(&mesh, bottom, top).volume_mm3, volume, 1e-12));
    }
}

/// Torus at the height z: an annulus of area 4πR√(r²−z²).
#[test]
fn a_torus_has_a_hole() {
    let ring = solids::torus(20.0, 5.0, 400, 200).unwrap();
    let section = slice(&ring, 1.0);
    assert_eq!(section.contours.len(), 2);
    let holes = section.contours.iter().filter(|c| c.area_mm2() < 0.0);
    assert_eq!(holes.count(), 1);
    let area = 4.0 * PI * 20.0 * 24f64.sqrt();
    assert!(close(section.area_mm2(), area, 1e-3));
    let half = between(&ring, -5.0, 0.0);
    assert!(close(half.volume_mm3, PI * PI * 20.0 * 25.0, 1e-3));
    assert!(close(half.skin_mm2, 2.0 * PI * PI * 100.0, 1e-3));
}

#[test]
fn faces_exactly_in_the_plane_follow_the_rule() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    assert!(slice(&block, 0.0).contours.is_empty());
    assert_eq!(slice(&block, 2.0).area_mm2(), 12.0);
    assert!(slice(&block, 2.0 + 1e-12).contours.is_empty());
    // A step: the face between the two blocks looks up from the lower layer.
    let steps = solids::lathe(&[(9.0, 0.0), (9.0, 1.0), (4.0, 1.0), (4.0, 3.0)], 32).unwrap();
    assert!(close(
        slice(&steps, 1.0).area_mm2(),
        polygon_area_mm2(9.0, 32),
        1e-12
    ));
    let layers = cut_evenly(&steps, 1.0);
    let flat = polygon_area_mm2(9.0, 32) - polygon_area_mm2(4.0, 32);
    let wall = polygon_perimeter_mm(9.0, 32);
    let bottom = polygon_area_mm2(9.0, 32);
    assert!(close(layers[0].skin_mm2, bottom + wall + flat, 1e-12));
    assert!(close(
        layers[1].skin_mm2,
        polygon_perimeter_mm(4.0, 32),
        1e-12
    ));
    assert!(close(
        between(&steps, 0.0, 1.0).skin_mm2,
        layers[0].skin_mm2,
        1e-14
    ));
    // Upside down, the same face looks down into the upper layer.
    let turned = on_plate(&moved(&steps, |v| DVec3::new(v.x, -v.y, -v.z)));
    let layers = cut_evenly(&turned, 1.0);
    assert!(close(layers[2].skin_mm2, bottom + wall + flat, 1e-12));
}

#[test]
fn an_apex_or_ridge_in_the_plane_leaves_no_contour() {
    let cone = solids::frustum(5.0, 0.0, 4.0, 12).unwrap();
    let top = slice(&cone, 4.0);
    assert_eq!((top.contours.len(), top.open_ends), (0, 0));
    let on_edge = solids::cylinder(5.0, 4.0, 4).unwrap();
    let on_edge = moved(&on_edge, |v| DVec3::new(v.z, v.y, -v.x));
    let ridge = slice(&on_edge, 5.0);
    assert_eq!((ridge.contours.len(), ridge.open_ends), (0, 0));
}

#[test]
fn a_tube_counts_its_hole() {
    let pipe = solids::tube(6.0, 4.0, 5.0, 40).unwrap();
    for layer in cut_evenly(&pipe, 0.25) {
        let area = polygon_area_mm2(6.0, 40) - polygon_area_mm2(4.0, 40);
        assert_eq!(layer.contours.len(), 2);
        assert!(close(layer.area_mm2, area, 1e-12));
        assert!(close(layer.volume_mm3, area * 0.25, 1e-11));
    }
}

#[test]
fn an_open_mesh_gives_its_best_answer_and_says_so() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let mut facets = block.triangles().to_vec();
    facets.remove(4); // one of a side wall
    let open = Mesh::new(block.vertices().to_vec(), facets).unwrap();
    let section = slice(&open, 1.0);
    assert_eq!(section.open_ends, 2);
    assert_eq!(section.contours.len(), 1);
    assert!(!section.contours[0].closed);
    assert!(section.area_mm2() > 8.0);
}

#[test]
fn a_facet_that_faces_the_wrong_way_still_gives_one_contour() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let mut facets = block.triangles().to_vec();
    facets[4].swap(0, 1);
    let flipped = Mesh::new(block.vertices().to_vec(), facets).unwrap();
    let section = slice(&flipped, 1.0);
    assert_eq!(section.open_ends, 0);
    assert_eq!(section.contours.len(), 1);
    assert!(section.contours[0].closed);
    assert!(close(section.area_mm2(), 12.0, 1e-12));
}

#[test]
fn unwelded_facets_are_joined() {
    let ball = solids::icosphere(5.0, 2).unwrap();
    let soup: Vec<DVec3> = (0..ball.triangles().len())
        .flat_map(|f| ball.corners(f))
        .collect();
    let facets = (0..soup.len() as u32 / 3).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]);
    let soup = Mesh::new(soup, facets.collect()).unwrap();
    let (whole, joined) = (slice(&ball, 0.7), slice(&soup, 0.7));
    assert_eq!(joined.contours.len(), 1);
    assert!(joined.contours[0].closed);
    assert!(close(joined.area_mm2(), whole.area_mm2(), 1e-12));
    assert!(joined.open_ends > 0);
}

#[test]
fn a_doubled_facet_leaves_the_outline_whole() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let mut facets = block.triangles().to_vec();
    facets.extend([facets[4], facets[6], facets[6]]);
    let doubled = Mesh::new(block.vertices().to_vec(), facets).unwrap();
    let section = slice(&doubled, 1.0);
    let closed = section.contours.iter().filter(|c| c.closed);
    assert!(close(closed.map(Contour::area_mm2).sum(), 12.0, 1e-12));
    assert!(close(section.area_mm2(), 12.0, 1e-12));
    assert!(section.open_ends > 0);
}

#[test]
fn a_t_junction_is_bridged() {
    // The upper wall's lower side is split by a vertex that the lower wall does not know.
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let mut vertices = block.vertices().to_vec();
    let mut facets = block.triangles().to_vec();
    let [a, b, c] = facets[4];
    let middle = vertices.len() as u32;
    vertices.push((vertices[a as usize] + vertices[c as usize]) * 0.5);
    facets[4] = [a, b, middle];
    facets.push([b, c, middle]);
    let mesh = Mesh::new(vertices, facets).unwrap();
    for z in [0.3, 1.0, 1.7] {
        let section = slice(&mesh, z);
        assert_eq!(section.contours.len(), 1);
        assert!(section.contours[0].closed && section.open_ends > 0);
        assert!(close(section.area_mm2(), 12.0, 1e-12));
    }
}

#[test]
fn slivers_and_empty_facets_change_nothing() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let mut vertices = block.vertices().to_vec();
    let mut facets = block.triangles().to_vec();
    // A wall's diagonal becomes a sliver, one of its facets splits at a doubled vertex.
    let [a, b, c] = facets[4];
    let middle = vertices.len() as u32;
    let on_side = (vertices[a as usize] + vertices[c as usize]) * 0.5;
    vertices.push(on_side);
    facets[4] = [a, b, middle];
    facets.extend([[b, c, middle], [a, middle, c], [b, b, c]]);
    let mesh = Mesh::new(vertices, facets).unwrap();
    for z in [0.3, 1.0, 1.7, 2.0] {
        let section = slice(&mesh, z);
        assert_eq!((section.contours.len(), section.open_ends), (1, 0), "{z}");
        assert!(close(section.area_mm2(), 12.0, 1e-12));
    }
    assert!(close(between(&mesh, 0.5, 1.5).volume_mm3, 12.0, 1e-12));
}

#[test]
fn the_work_can_be_cancelled() {
    let block = solids::cuboid(DVec3::ONE).unwrap();
    let progress = Progress::new();
    progress.cancel();
    let result = cut(&block, &LayerPlan::plain(0.1, 0.1), &progress);
    assert!(matches!(result, Err(CutError::Cancelled(_))));
}

#[test]
fn a_part_below_the_plate_is_sent_back() {
    let ball = solids::icosphere(5.0, 1).unwrap();
    let error = cut(&ball, &LayerPlan::plain(0.1, 0.1), &Progress::new()).unwrap_err();
    assert!(error.to_string().contains("5 mm below the build plate"));
}

#[test]
fn far_from_the_origin_little_is_lost() {
    let ball = on_plate(&solids::icosphere(5.0, 3).unwrap());
    let far = moved(&ball, |v| v + DVec3::new(1e6, -1e6, 0.0));
    for (near, far) in cut_evenly(&ball, 0.5).iter().zip(cut_evenly(&far, 0.5)) {
        assert!(close(far.volume_mm3, near.volume_mm3, 1e-8));
        assert!(close(far.skin_mm2, near.skin_mm2, 1e-8));
        assert!(close(far.area_mm2, near.area_mm2, 1e-8));
    }
}

#[test]
fn tiny_features_are_kept() {
    let grain = solids::icosphere(1e-4, 3).unwrap();
    let part = between(&grain, 0.0, 1.0);
    assert!(close(part.volume_mm3, 0.5 * grain.volume_mm3(), 1e-9));
    assert_eq!(slice(&grain, 1e-5).contours.len(), 1);
}

#[test]
fn layers_are_written_as_numbers() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let json = serde_json::to_value(&cut_evenly(&block, 1.0)[0]).unwrap();
    assert_eq!(json["span"]["top_mm"], 1.0);
    assert_eq!(json["contours"][0]["closed"], true);
    assert_eq!(
        json["contours"][0]["points_mm"][0]
            .as_array()
            .unwrap()
            .len(),
        2
    );
}

#[test]
fn area_by_height_counts_flats_at_their_height() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let spread = AreaByHeight::of(&block);
    assert_eq!(spread.below_mm2(-1e-9), 0.0);
    assert_eq!(spread.below_mm2(0.0), 12.0);
    assert!(close(spread.below_mm2(1.0), 12.0 + 14.0, 1e-14));
    assert!(close(spread.below_mm2(2.0), 52.0, 1e-14));
    assert_eq!(spread.height_of(5.0), 0.0);
    assert!(close(spread.height_of(26.0), 1.0, 1e-12));
    assert_eq!(spread.height_of(45.0), 2.0);
    assert_eq!(spread.height_of(1e9), 2.0);
}

#[test]
fn area_by_another_measure_leaves_out_what_has_none() {
    let block = solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap();
    let mut along_x: Vec<f64> = block.vertices().iter().map(|v| v.x).collect();
    let spread = AreaByHeight::along(&block, &along_x, |_| 0.5);
    assert!(close(spread.total_mm2(), 26.0, 1e-12));
    assert!(close(spread.share_below(0.0), 0.5, 1e-12));
    along_x.fill(f64::INFINITY);
    let nothing = AreaByHeight::along(&block, &along_x, |_| 1.0);
    assert_eq!((nothing.total_mm2(), nothing.share_below(1.0)), (0.0, 0.0));
}

/// A closed mesh of odd shape: a sphere or torus with its vertices shaken (it may cross
/// itself) and turned, standing on the plate.
fn odd_mesh() -> impl Strategy<Value = Mesh> {
    let shape = prop_oneof![
        Just(solids::icosphere(6.0, 2).unwrap()),
        Just(solids::torus(6.0, 2.5, 12, 7).unwrap()),
        Just(solids::cuboid(DVec3::new(3.0, 9.0, 5.0)).unwrap()),
    ];
    let shake = prop_oneof![Just(0.0), 0.0..0.3f64, 0.3..1.0f64];
    (shape, shake, -PI..PI, -PI..PI).prop_map(|(mesh, shake, turn, tilt)| {
        let rotation = DMat3::from_rotation_x(tilt) * DMat3::from_rotation_z(turn);
        let shaken = |v: DVec3| {
            let noise = (v * 917.3).map(|x| (x.sin() * 43758.5453).fract());
            rotation * (v + noise * shake)
        };
        on_plate(&moved(&mesh, shaken))
    })
}

/// Solids in and through each other, whose outlines are known.
#[test]
fn what_overlaps_is_solid_once() {
    let block = |size: f64, at: DVec3| {
        let block = solids::cuboid(DVec3::splat(size)).unwrap();
        moved(&block, |v| v + at)
    };
    let shift = DVec3::new(1.0, 0.5, 0.0);
    let cases = [
        // Two that cross; one twice; one in another; inside out.
        (
            Mesh::join([block(2.0, DVec3::ZERO), block(2.0, shift)]),
            6.5,
            11.0,
        ),
        (
            Mesh::join([block(2.0, DVec3::ZERO), block(2.0, DVec3::ZERO)]),
            4.0,
            8.0,
        ),
        (
            Mesh::join([block(2.0, DVec3::ZERO), block(1.0, DVec3::Z * 0.5)]),
            4.0,
            8.0,
        ),
        (Ok(block(2.0, DVec3::ZERO).turned_inside_out()), 4.0, 8.0),
    ];
    for (mesh, area, perimeter) in cases {
        let mesh = mesh.unwrap();
        let section = slice(&mesh, 1.0);
        assert!(section.redrawn && section.is_unsound());
        assert!(
            close(section.area_mm2(), area, 1e-9),
            "{} {area}",
            section.area_mm2()
        );
        let drawn = section.perimeter_mm();
        assert!(close(drawn, perimeter, 1e-9), "{drawn} is not {perimeter}");
        assert!(section.contours.iter().all(|c| c.closed));
        let volume: f64 = cut_evenly(&mesh, 0.15).iter().map(|l| l.volume_mm3).sum();
        assert!(close(volume, 2.0 * area, 1e-6), "{volume} {area}");
    }
    let hollow = [
        block(4.0, DVec3::ZERO),
        block(2.0, DVec3::Z).turned_inside_out(),
    ];
    let hollow = Mesh::join(hollow).unwrap();
    let section = slice(&hollow, 2.0);
    assert!(!section.redrawn && section.area_mm2() == 12.0);
    assert_eq!(slice(&hollow.turned_inside_out(), 2.0).area_mm2(), 12.0);
}

/// Outlines at random on a small grid, so that lines meet in every way.
fn outlines() -> impl Strategy<Value = Vec<Contour>> {
    let point = (0..9i32, 0..9i32).prop_map(|(x, y)| glam::DVec2::new(x.into(), y.into()));
    let outline = prop::collection::vec(point, 3..7);
    let contour = outline.prop_map(|points_mm| Contour {
        points_mm,
        closed: true,
    });
    prop::collection::vec(contour, 1..4)
}

/// How often contours wind about a point, by the angle that it sees them go round.
fn turns(contours: &[Contour], at: glam::DVec2) -> f64 {
    let of_contour = |c: &Contour| -> f64 {
        let next = c.points_mm.iter().cycle().skip(1);
        let sides = c.points_mm.iter().zip(next);
        sides.map(|(a, b)| (*a - at).angle_to(*b - at)).sum()
    };
    contours.iter().map(of_contour).sum::<f64>() / (2.0 * PI)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn outlines_wind_about_the_same_points_before_and_after(contours in outlines()) {
        let redrawn = winding::redrawn(&contours);
        let proper = winding::is_proper(&contours);
        for i in 0..40 {
            // Between the lines of the grid's points, mostly.
            let at = glam::DVec2::new(0.137 + f64::from(i % 8), 0.271 + 0.83 * f64::from(i / 8));
            let (before, after) = (turns(&contours, at).round(), turns(&redrawn, at).round());
            let near = contours.iter().chain(&redrawn).flat_map(|c| {
                let next = c.points_mm.iter().cycle().skip(1);
                c.points_mm.iter().zip(next)
            });
            let mut gaps = near.map(|(a, b)| {
                let t = ((at - *a).dot(*b - *a) / (*b - *a).length_squared()).clamp(0.0, 1.0);
                a.lerp(*b, if t.is_nan() { 0.0 } else { t }).distance(at)
            });
            if gaps.any(|gap| gap < 1e-6) {
                continue;
            }
            prop_assert_eq!(before != 0.0, after != 0.0);
            prop_assert!(after == 0.0 || after == 1.0);
            prop_assert!(!proper || before == after);
        }
    }

    #[test]
    fn layers_add_up_to_the_whole(mesh in odd_mesh(), layer in 0.05..2.0f64) {
        let layers = cut_evenly(&mesh, layer);
        prop_assume!(!layers.iter().any(|l| l.overlaps));
        let volume: f64 = layers.iter().map(|l| l.volume_mm3).sum();
        let skin: f64 = layers.iter().map(|l| l.skin_mm2).sum();
        prop_assert!(close(volume, mesh.volume_mm3(), 1e-12));
        prop_assert!(close(skin, mesh.area_mm2(), 1e-12));
    }

    #[test]
    fn the_sweep_agrees_with_single_cuts(mesh in odd_mesh(), layer in 0.1..2.0f64) {
        let layers = cut_evenly(&mesh, layer);
        // Where some overlap, volumes of others beside them are summed as well.
        let overlaps = layers.iter().any(|l| l.overlaps);
        for found in layers {
            let part = between(&mesh, found.span.bottom_mm, found.span.top_mm);
            let section = slice(&mesh, found.span.middle_mm());
            prop_assert!(overlaps || (found.volume_mm3 - part.volume_mm3).abs() < 1e-11);
            prop_assert!((found.skin_mm2 - part.skin_mm2).abs() < 1e-11);
            prop_assert_eq!(found.contours.len(), section.contours.len());
            prop_assert!((found.area_mm2 - section.area_mm2()).abs() < 1e-11);
            prop_assert!((found.perimeter_mm - section.perimeter_mm()).abs() < 1e-10);
        }
    }

    #[test]
    fn contours_of_a_closed_mesh_are_closed(mesh in odd_mesh(), pick in 0usize..1000) {
        // At any height, and exactly at the height of a vertex.
        let height = mesh.bounds().1.z;
        let vertex = mesh.vertices()[pick % mesh.vertices().len()].z;
        for z in [pick as f64 / 1000.0 * height, vertex] {
            let section = slice(&mesh, z);
            prop_assert_eq!(section.open_ends, 0);
            prop_assert!(section.contours.iter().all(|c| c.closed));
        }
    }

    #[test]
    fn the_area_at_a_height_is_the_slope_of_the_volume(mesh in odd_mesh(), at in 0.05..0.95f64) {
        // Simpson's rule is exact for the piecewise quadratic area between vertex heights.
        let height = mesh.bounds().1.z;
        let mut z: Vec<f64> = mesh.vertices().iter().map(|v| v.z).collect();
        z.sort_by(f64::total_cmp);
        let upper = z.partition_point(|&z| z <= at * height);
        let (low, high) = (z[upper - 1], z[upper]);
        let area = |t: f64| slice(&mesh, low + t * (high - low)).drawn_area_mm2;
        let (near, far) = (0.01, 0.99);
        let simpson = (area(near) + 4.0 * area(0.5) + area(far)) / 6.0 * (far - near) * (high - low);
        let part = between(&mesh, low + near * (high - low), low + far * (high - low));
        prop_assert!((part.volume_mm3 - simpson).abs() < 1e-9);
    }

    #[test]
    fn area_by_height_agrees_with_clipping(mesh in odd_mesh(), at in 0.0..1.0f64) {
        let spread = AreaByHeight::of(&mesh);
        let z = at * mesh.bounds().1.z;
        let below = between(&mesh, -1.0, z).skin_mm2;
        prop_assert!(close(spread.total_mm2(), mesh.area_mm2(), 1e-12));
        prop_assert!((spread.below_mm2(z) - below).abs() < 1e-10);
        let again = spread.below_mm2(spread.height_of(at * spread.total_mm2()));
        prop_assert!(again >= at * spread.total_mm2() - 1e-9);
    }
}
