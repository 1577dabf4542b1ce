//! Meshes made wrong on purpose.

use glam::DVec3;

use super::*;
use crate::solids;

fn block() -> Mesh {
    solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap()
}

fn with_facets(mesh: &Mesh, change: impl FnOnce(&mut Vec<[u32; 3]>)) -> Mesh {
    let mut facets = mesh.triangles().to_vec();
    change(&mut facets);
    Mesh::new(mesh.vertices().to_vec(), facets).unwrap()
}

fn says(report: &Inspection, words: &str) -> bool {
    report.findings().iter().any(|f| f.what.contains(words))
}

#[test]
fn a_sound_mesh_is_called_sound() {
    for mesh in [
        block(),
        solids::icosphere(5.0, 3).unwrap(),
        solids::torus(9.0, 3.0, 30, 20).unwrap(),
        solids::tube(5.0, 4.0, 3.0, 30).unwrap(),
    ] {
        let report = Inspection::of(&mesh);
        assert!(report.is_sound() && report.is_closed(), "{report:?}");
        assert!(says(&report, "nothing to mend"));
    }
}

#[test]
fn a_missing_facet_is_a_hole_with_a_rim_and_a_place() {
    let report = Inspection::of(&with_facets(&block(), |f| {
        f.remove(2); // half of the top
    }));
    assert_eq!(report.holes.len(), 1);
    let hole = &report.holes[0];
    assert_eq!((hole.sides, hole.closed), (3, true));
    assert!((hole.rim_mm - 12.0).abs() < 1e-12 && (hole.film_mm2 - 6.0).abs() < 1e-12);
    assert_eq!(hole.middle_mm.z, 2.0);
    assert!(!report.shells[0].closed);
    assert!(says(
        &report,
        "The surface has 1 hole; its rim is 12.00 mm long."
    ));
}

#[test]
fn a_flipped_facet_disagrees_with_three_neighbours() {
    let report = Inspection::of(&with_facets(&block(), |f| f[0].swap(0, 1)));
    assert_eq!(report.flipped_edges.count, 3);
    assert!(!report.is_closed());
}

#[test]
fn an_inside_out_mesh_is_told_from_a_hollow() {
    let report = Inspection::of(&block().turned_inside_out());
    assert_eq!(report.inside_out_shells.count, 1);
    assert!(says(&report, "inside out"));

    let outer = solids::icosphere(10.0, 2).unwrap();
    let inner = solids::icosphere(4.0, 2).unwrap();
    let hollow = Mesh::join([outer.clone(), inner.clone().turned_inside_out()]).unwrap();
    let report = Inspection::of(&hollow);
    assert!(report.is_sound(), "{report:?}");
    assert_eq!(report.shells.len(), 2);

    let doubled = Mesh::join([outer, inner]).unwrap();
    let report = Inspection::of(&doubled);
    assert_eq!(
        (report.doubled_shells.count, report.inside_out_shells.count),
        (1, 0)
    );
    assert!(says(&report, "counts twice"));
}

#[test]
fn an_inverted_shell_beside_another_is_inside_out() {
    let beside = block().map(|p| p + DVec3::X * 10.0).unwrap();
    let mesh = Mesh::join([block(), beside.turned_inside_out()]).unwrap();
    let report = Inspection::of(&mesh);
    assert_eq!(report.inside_out_shells.count, 1);
    assert_eq!(report.inside_out_shells.first_mm.unwrap().x, 10.0);
    assert!(says(&report, "1 of 2 shells face inwards"));
}

#[test]
fn solids_within_solids_within_hollows_are_right() {
    let ball = |radius| solids::icosphere(radius, 1).unwrap();
    let nested = Mesh::join([
        ball(10.0),
        ball(8.0).turned_inside_out(),
        ball(5.0),
        ball(3.0).turned_inside_out(),
    ]);
    let report = Inspection::of(&nested.unwrap());
    assert!(report.is_sound(), "{report:?}");
}

#[test]
fn doubled_facets_and_crowded_edges_are_counted() {
    let report = Inspection::of(&with_facets(&block(), |f| {
        f.push(f[0]);
        let [a, b, c] = f[5];
        f.push([b, a, c]);
        f.push([c, b, a]);
    }));
    assert_eq!(report.duplicate_facets.count, 3);
    assert_eq!(report.non_manifold_edges.count, 6);
}

#[test]
fn thin_facets_are_told_apart() {
    let vertices = vec![
        DVec3::ZERO,
        DVec3::X,
        DVec3::X * 0.5,
        DVec3::new(0.5, 5e-5, 0.0),
        DVec3::new(0.5, 1.0, 0.0),
    ];
    let mesh = Mesh::new(vertices, vec![[0, 1, 2], [0, 1, 3], [0, 1, 4], [4, 4, 1]]).unwrap();
    let report = Inspection::of(&mesh);
    assert_eq!((report.empty_facets.count, report.slivers.count), (2, 1));
    assert!(says(&report, "flat"));
}

#[test]
fn a_crack_is_told_from_a_hole() {
    let ball = solids::icosphere(5.0, 2).unwrap();
    // One facet drawn apart by less than a crack's width.
    let mut vertices = ball.vertices().to_vec();
    let mut facets = ball.triangles().to_vec();
    let apart = ball.corners(0).map(|p| p + DVec3::splat(2e-5));
    let first = vertices.len() as u32;
    vertices.extend(apart);
    facets[0] = [first, first + 1, first + 2];
    let report = Inspection::of(&Mesh::new(vertices, facets).unwrap());
    assert_eq!(report.cracked_vertices.count, 6);
    assert_eq!(report.shells.len(), 2);
    assert!(says(&report, "cracked"));
    // Rim vertices that an edge joins are no crack, however near.
    let grain = solids::icosphere(5e-5, 1).unwrap();
    let open = with_facets(&grain, |f| {
        f.remove(0);
    });
    assert_eq!(Inspection::of(&open).cracked_vertices.count, 0);
}

#[test]
fn a_t_junction_is_a_slit_without_width() {
    // The upper side of one facet is split by a vertex that its neighbour does not know.
    let mesh = with_facets(&block(), |_| {});
    let mut vertices = mesh.vertices().to_vec();
    let mut facets = mesh.triangles().to_vec();
    let [a, b, c] = facets[0];
    let middle = vertices.len() as u32;
    vertices.push((vertices[a as usize] + vertices[b as usize]) * 0.5);
    facets[0] = [a, middle, c];
    facets.push([middle, b, c]);
    let report = Inspection::of(&Mesh::new(vertices, facets).unwrap());
    assert_eq!(report.holes.len(), 1);
    assert_eq!(report.holes[0].sides, 3);
    assert!(report.holes[0].width_mm() < 1e-12);
    assert!(says(&report, "1 slit"));
    assert!(
        report
            .findings()
            .iter()
            .all(|f| f.severity < Severity::Fault)
    );
}

#[test]
fn facets_apart_are_shells_of_their_own() {
    let ball = solids::icosphere(5.0, 1).unwrap();
    let corners: Vec<DVec3> = (0..80).flat_map(|f| ball.corners(f)).collect();
    let facets = (0..80).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]).collect();
    let report = Inspection::of(&Mesh::new(corners, facets).unwrap());
    assert_eq!((report.shells.len(), report.holes.len()), (80, 80));
    assert_eq!(report.cracked_vertices.count, 240);
}

#[test]
fn facets_that_cross_are_told_with_their_place() {
    let beside = |x: f64, y: f64| block().map(|p| p + DVec3::new(x, y, 0.25)).unwrap();
    let report = Inspection::of(&Mesh::join([block(), beside(3.5, 0.5)]).unwrap());
    assert!(report.crossings.crossing.count > 0 && report.crossings.shells == [(0, 1)]);
    let at = report.crossings.crossing.first_mm.unwrap();
    assert!((1.0..=2.5).contains(&at.x), "{at}");
    assert!(says(&report, "through each other"));
    // Of 48 mm³, 0.5 × 2.5 × 1.75 are in both.
    assert!(
        (report.volume_mm3 - (48.0 - 2.1875)).abs() < 1e-6,
        "{}",
        report.volume_mm3
    );
    assert!((report.facet_volume_mm3 - 48.0).abs() < 1e-12);
    assert!(says(&report, "% too much"));
    let told = report.unmended().join(" ");
    assert!(
        told.contains("(First at ") && told.contains("tintfall mend"),
        "{told}"
    );
}

#[test]
fn solids_that_touch_do_not_cross() {
    let beside = |at: DVec3| block().map(|p| p + at).unwrap();
    for at in [
        DVec3::X * 4.0,
        DVec3::new(4.0, 3.0, 0.0),
        DVec3::new(4.0, 1.0, 1.0),
        DVec3::Z * 2.0,
    ] {
        let report = Inspection::of(&Mesh::join([block(), beside(at)]).unwrap());
        assert_eq!(report.crossings.count(), 0, "{at}");
        assert!(report.is_sound(), "{:?}", report.unmended());
    }
    // With the side walls in one plane they share some volume.
    let report = Inspection::of(&Mesh::join([block(), beside(DVec3::X * 2.0)]).unwrap());
    assert!(report.crossings.overlapping.count > 0 && !report.is_sound());
}

/// Every way in which two blocks of whole numbers can lie is told right.
#[test]
fn blocks_on_a_grid_are_told_apart() {
    for i in 0..343 {
        let shift = [i % 7, i / 7 % 7, i / 49].map(|x| f64::from(x) - 3.0);
        let other = solids::cuboid(DVec3::new(2.0, 2.0, 2.0)).unwrap();
        let other = other.map(|p| p + DVec3::from_array(shift)).unwrap();
        let first = solids::cuboid(DVec3::new(3.0, 3.0, 3.0)).unwrap();
        let joint = Mesh::join([first, other]).unwrap();
        let report = Inspection::of(&joint);
        let overlap = |axis: usize, low: [f64; 2], high: [f64; 2]| {
            let shift = shift[axis];
            (high[0].min(high[1] + shift) - low[0].max(low[1] + shift)).max(0.0)
        };
        let shared = overlap(0, [-1.5, -1.0], [1.5, 1.0])
            * overlap(1, [-1.5, -1.0], [1.5, 1.0])
            * overlap(2, [0.0, 0.0], [3.0, 2.0]);
        assert_eq!(
            report.is_sound(),
            shared == 0.0,
            "{shift:?} {:?}",
            report.unmended()
        );
        assert!(
            (report.volume_mm3 - (35.0 - shared)).abs() < 0.02,
            "{shift:?}"
        );
    }
}

#[test]
fn a_report_is_written_as_numbers() {
    let json = serde_json::to_value(Inspection::of(&block())).unwrap();
    assert_eq!(json["facets"], 12);
    assert_eq!(json["size_mm"], serde_json::json!([4.0, 3.0, 2.0]));
    assert_eq!(json["shells"][0]["closed"], true);
    let words = serde_json::to_value(Inspection::of(&block()).findings()).unwrap();
    assert_eq!(words[0]["severity"], "Note");
}
