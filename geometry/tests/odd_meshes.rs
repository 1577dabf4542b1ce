//! Meshes as no textbook shows them: facets in the plane of the cut, slivers, facets that are
//! there twice or cross, open shells, T-junctions, far from the origin, and tiny. Whatever is
//! asked of them is answered, and what must add up adds up.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::sync::Arc;

use geometry::inspect::Inspection;
use geometry::layers::{AreaByHeight, between, cut, slice};
use geometry::mesh::weld_near;
use geometry::read::{ReadOptions, mesh_to_stl, read_mesh_bytes};
use geometry::{DVec3, LayerPlan, Mesh, Progress, Surface, solids};
use proptest::prelude::*;

/// Corners on a grid of a few places, so that facets share planes, lines and corners.
fn corner() -> impl Strategy<Value = DVec3> {
    let places = prop_oneof![
        Just(0.0),
        Just(1.0),
        Just(1.0 + 1e-9),
        Just(2.0),
        0.0..3.0f64
    ];
    prop::array::uniform3(places).prop_map(DVec3::from_array)
}

/// Facets at random: open, crossing, doubled, without area.
fn soup() -> impl Strategy<Value = Mesh> {
    let facets = prop::collection::vec(any::<[u8; 3]>(), 1..40);
    (prop::collection::vec(corner(), 3..20), facets).prop_map(|(corners, picks)| {
        let count = corners.len() as u32;
        let facet = |pick: [u8; 3]| pick.map(|i| u32::from(i) % count);
        Mesh::new(corners, picks.into_iter().map(facet).collect()).unwrap()
    })
}

/// Boxes that touch, overlap and stand in each other, so that faces coincide, edges end on
/// edges, and facets are there twice.
fn boxes() -> impl Strategy<Value = Mesh> {
    let one = ([1u8..4, 1u8..4, 1u8..4], [0u8..3, 0u8..3, 0u8..3]);
    prop::collection::vec(one, 1..5).prop_map(|all| {
        let made = all.into_iter().map(|(size, at)| {
            let at = DVec3::from_array(at.map(f64::from));
            let size = DVec3::from_array(size.map(f64::from));
            let block = solids::cuboid(size).unwrap();
            block.map(|p| p + at + DVec3::new(size.x, size.y, 0.0) * 0.5)
        });
        Mesh::join(made.map(Result::unwrap)).unwrap()
    })
}

/// As it is, tiny (features of 1e-4 mm), or large; at the origin, or 1e6 mm from it.
fn placed(mesh: impl Strategy<Value = Mesh>) -> impl Strategy<Value = Mesh> {
    let scale = prop_oneof![Just(1.0), Just(1e-4), Just(1e3)];
    let far = prop_oneof![
        Just(DVec3::ZERO),
        Just(DVec3::new(1e6, -1e6, 0.0)),
        Just(DVec3::new(0.0, 0.0, 1e6))
    ];
    (mesh, scale, far).prop_map(|(mesh, scale, far)| mesh.map(|p| p * scale + far).unwrap())
}

/// What rounding may do to lengths of this mesh, mm.
fn rounding_mm(mesh: &Mesh) -> f64 {
    let (low, high) = mesh.bounds();
    1e-14 * low.abs().max(high.abs()).max_element()
}

fn longest_mm(mesh: &Mesh) -> f64 {
    let (low, high) = mesh.bounds();
    (high - low).max_element()
}

/// Heights of the vertices, and between them.
fn heights(mesh: &Mesh) -> Vec<f64> {
    let mut heights: Vec<f64> = mesh.vertices().iter().map(|v| v.z).collect();
    heights.sort_by(f64::total_cmp);
    heights.dedup();
    let between: Vec<f64> = heights.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
    heights.extend(between);
    heights.sort_by(f64::total_cmp);
    heights
}

/// Volumes and areas of slabs add up to those of all of it.
fn adds_up(mesh: &Mesh) -> Result<(), TestCaseError> {
    let heights = heights(mesh);
    let (low, high) = (heights[0], heights[heights.len() - 1]);
    let size = longest_mm(mesh);
    let count = mesh.triangles().len() as f64;
    let slack_mm = rounding_mm(mesh) + 1e-12 * size;
    let whole = between(mesh, low - size, high + size);
    prop_assert!(whole.volume_mm3.is_finite() && whole.skin_mm2.is_finite());
    prop_assert!((whole.skin_mm2 - mesh.area_mm2()).abs() <= 100.0 * count * slack_mm * size);
    // The outer slabs take in what is flat at the mesh's own ends.
    let edges = match heights.len() {
        1 => vec![low - size, high + size],
        _ => heights,
    };
    let mut skin_mm2 = 0.0;
    for pair in edges.windows(2) {
        let slab = between(mesh, pair[0], pair[1]);
        prop_assert!(slab.volume_mm3.is_finite() && slab.skin_mm2 >= 0.0);
        skin_mm2 += slab.skin_mm2;
    }
    let off = (skin_mm2 - whole.skin_mm2).abs();
    prop_assert!(off <= 1000.0 * count * slack_mm * size, "{off}");
    let spread = AreaByHeight::of(mesh);
    prop_assert!((spread.total_mm2() - mesh.area_mm2()).abs() <= 1e-9 * mesh.area_mm2());
    Ok(())
}

/// The nearest point is no farther than any vertex that a facet has.
fn nearest_holds(mesh: &Mesh) -> Result<(), TestCaseError> {
    let surface = Surface::new(Arc::new(mesh.clone()));
    let (low, high) = mesh.bounds();
    let size = longest_mm(mesh);
    for at in [low - size, 0.5 * (low + high), high, high + size * 10.0] {
        let near = surface.nearest(at).point_mm;
        prop_assert!(near.is_finite());
        let corners = (0..mesh.triangles().len()).flat_map(|f| mesh.corners(f));
        let least = corners.map(|v| v.distance(at)).fold(f64::MAX, f64::min);
        // The tree's boxes are of single precision, but they only ever hold more than they
        // must: what is compared in the end are places, good to a few units in the last place.
        let biggest = low.abs().max(high.abs()).max(at.abs()).max_element();
        let slack = 16.0 * f64::EPSILON * biggest + 1e-12 * size;
        prop_assert!(near.distance(at) <= least + slack, "{near} {at} {least}");
        surface.first_hit(at, DVec3::new(0.3, -0.2, 0.9));
        surface.nearest_within(at, size * 0.1);
    }
    Ok(())
}

fn everything(mesh: &Mesh) -> Result<(), TestCaseError> {
    let report = Inspection::of(mesh);
    for z in heights(mesh) {
        let section = slice(mesh, z);
        prop_assert!(section.area_mm2().is_finite() && section.perimeter_mm() >= 0.0);
        for contour in &section.contours {
            prop_assert!(contour.points_mm.iter().all(|p| p.is_finite()));
        }
        if report.is_sound() {
            prop_assert_eq!(section.open_ends, 0);
            prop_assert!(section.contours.iter().all(|c| c.closed));
        }
    }
    adds_up(mesh)?;
    nearest_holds(mesh)?;
    let size = longest_mm(mesh);
    if let Some(welded) = weld_near(mesh, size.max(1e-9) * 0.01) {
        Inspection::of(&welded.mesh);
    }
    let reading = read_mesh_bytes(
        "a.stl".as_ref(),
        &mesh_to_stl(mesh),
        &ReadOptions::default(),
    );
    if let Ok(reading) = reading {
        prop_assert!(reading.mesh.triangles().len() <= mesh.triangles().len());
    }
    // Standing on the plate it can be cut.
    let (low, high) = mesh.bounds();
    let thick = (high.z - low.z) / 7.0;
    if thick > 0.0 {
        let standing = mesh
            .clone()
            .map(|p| p - DVec3::new(0.0, 0.0, low.z))
            .unwrap();
        let plan = LayerPlan::plain(thick, thick);
        if let Ok(layers) = cut(&standing, &plan, &Progress::new()) {
            let skin: f64 = layers.iter().map(|l| l.skin_mm2).sum();
            let off = (skin - standing.area_mm2()).abs();
            prop_assert!(off <= 1e-6 * (standing.area_mm2() + size * size), "{off}");
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::with_cases(96)
    })]

    #[test]
    fn soups_are_answered(mesh in placed(soup())) {
        everything(&mesh)?;
    }

    #[test]
    fn boxes_that_touch_and_overlap_are_answered(mesh in placed(boxes())) {
        everything(&mesh)?;
        prop_assert!(Inspection::of(&mesh).is_closed());
        for z in heights(&mesh) {
            let section = slice(&mesh, z);
            prop_assert_eq!(section.open_ends, 0);
            prop_assert!(section.contours.iter().all(|c| c.closed));
        }
        let size = longest_mm(&mesh);
        let slack = rounding_mm(&mesh) * size * size + 1e-12 * size.powi(3);
        prop_assert!(mesh.volume_mm3() > 0.0);
        let heights = heights(&mesh);
        let all: f64 = heights
            .windows(2)
            .map(|w| between(&mesh, w[0], w[1]).volume_mm3)
            .sum();
        prop_assert!((all - mesh.volume_mm3()).abs() <= 1000.0 * slack);
    }

    /// A lid left off, and edges that end within others: nothing is closed, all is finite.
    #[test]
    fn open_shells_and_t_junctions_are_answered(mesh in placed(boxes()), left_out in any::<u8>()) {
        let keep = mesh.triangles().len() - 1;
        let mut triangles = mesh.triangles().to_vec();
        triangles.remove(usize::from(left_out) % (keep + 1));
        let [a, b, c] = triangles[0];
        // The first facet in two, its neighbour across the side left whole.
        let mut vertices = mesh.vertices().to_vec();
        let middle = 0.5 * (vertices[a as usize] + vertices[b as usize]);
        vertices.push(middle);
        let m = vertices.len() as u32 - 1;
        triangles[0] = [a, m, c];
        triangles.push([m, b, c]);
        let open = Mesh::new(vertices, triangles).unwrap();
        prop_assert!(!Inspection::of(&open).is_closed());
        everything(&open)?;
    }
}
