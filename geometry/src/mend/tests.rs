//! Meshes damaged on purpose, mended, and held against closed forms.

use std::f64::consts::PI;

use glam::DVec3;

use super::*;
use crate::layers::slice;
use crate::solids;

fn ball(radius: f64) -> Mesh {
    solids::icosphere(radius, 3).unwrap()
}

fn block(size: f64) -> Mesh {
    solids::cuboid(DVec3::splat(size)).unwrap()
}

fn moved(mesh: &Mesh, by: DVec3) -> Mesh {
    mesh.clone().map(|p| p + by).unwrap()
}

fn with_facets(mesh: &Mesh, change: impl FnOnce(&mut Vec<[u32; 3]>)) -> Mesh {
    let mut facets = mesh.triangles().to_vec();
    change(&mut facets);
    Mesh::new(mesh.vertices().to_vec(), facets).unwrap()
}

/// Mends, and checks what every mended mesh must be.
fn mended(mesh: &Mesh) -> Mesh {
    let mended = mend(mesh, &Progress::new()).unwrap();
    assert!(!mended.done.is_empty());
    let report = Inspection::of(&mended.mesh);
    assert!(report.is_sound(), "{:?}", report.unmended());
    assert!(report.volume_error().abs() < 1e-9);
    for edge in Edges::of(&mended.mesh).iter() {
        assert!(edge.uses.len() == 2 && edge.balance() == 0);
    }
    mended.mesh
}

fn near(a: f64, b: f64, relative: f64) {
    assert!((a - b).abs() <= relative * b.abs(), "{a} is not {b}");
}

#[test]
fn a_sound_mesh_comes_back_as_it_is() {
    let ball = ball(5.0);
    let kept = mend(&ball, &Progress::new()).unwrap();
    assert_eq!((kept.mesh, kept.done.len()), (ball, 0));
}

#[test]
fn what_faces_inwards_or_both_ways_faces_out() {
    let ball = ball(5.0);
    near(
        mended(&ball.clone().turned_inside_out()).volume_mm3(),
        ball.volume_mm3(),
        1e-12,
    );
    let half = with_facets(&ball, |facets| {
        facets.iter_mut().step_by(3).for_each(|f| f.swap(0, 1));
    });
    near(mended(&half).volume_mm3(), ball.volume_mm3(), 1e-12);
    let hollow = Mesh::join([block(9.0), moved(&block(3.0), DVec3::Z * 3.0)]).unwrap();
    // The inner block faces out, so it is no hollow, and vanishes in the outer one.
    near(mended(&hollow).volume_mm3(), 729.0, 1e-12);
    let flipped = Mesh::join([
        block(9.0).turned_inside_out(),
        moved(&block(3.0), DVec3::Z * 3.0),
    ]);
    near(mended(&flipped.unwrap()).volume_mm3(), 729.0 - 27.0, 1e-12);
}

#[test]
fn doubles_are_dropped() {
    let ball = ball(5.0);
    let twice = with_facets(&ball, |facets| facets.extend(facets.clone()));
    near(mended(&twice).volume_mm3(), ball.volume_mm3(), 1e-12);
    let both_ways = with_facets(&ball, |facets| {
        let back: Vec<_> = facets.iter().map(|&[a, b, c]| [b, a, c]).collect();
        facets.extend(back);
    });
    near(mended(&both_ways).volume_mm3(), ball.volume_mm3(), 1e-12);
}

/// The lens that two balls share: two caps of height r − d/2.
#[test]
fn shells_that_cross_are_united() {
    let ball = solids::icosphere(10.0, 4).unwrap();
    let both = Mesh::join([ball.clone(), moved(&ball, DVec3::X * 12.0)]).unwrap();
    let one = mended(&both);
    let cap = PI * 16.0 * (30.0 - 4.0) / 3.0;
    near(
        one.volume_mm3(),
        2.0 * (4.0 / 3.0 * PI * 1000.0 - cap),
        3e-3,
    );
    for z in [-7.0, -1.0, 0.3, 6.5] {
        near(slice(&both, z).area_mm2(), slice(&one, z).area_mm2(), 1e-9);
    }
    let blocks = Mesh::join([block(2.0), moved(&block(2.0), DVec3::X)]).unwrap();
    near(mended(&blocks).volume_mm3(), 12.0, 1e-12);
}

/// A prism over a figure of eight: both loops are solid, whichever way they run.
#[test]
fn a_shell_that_passes_through_itself_is_cut() {
    let outline = [(0.0, 0.0), (4.0, 4.0), (4.0, 0.0), (0.0, 4.0)];
    let level = |z: f64| outline.map(|(x, y)| DVec3::new(x, y, z));
    let vertices = level(0.0).into_iter().chain(level(3.0)).collect();
    let mut facets = vec![[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7]];
    for i in 0..4 {
        let j = (i + 1) % 4;
        facets.extend([[i, j, j + 4], [i, j + 4, i + 4]]);
    }
    let eight = Mesh::new(vertices, facets).unwrap();
    let report = Inspection::of(&eight);
    assert!(report.crossings.cross_themselves() && report.facet_volume_mm3.abs() < 1e-9);
    near(report.volume_mm3, 24.0, 1e-9);
    near(mended(&eight).volume_mm3(), 24.0, 1e-9);
}

#[test]
fn holes_are_filled() {
    let open = with_facets(&block(4.0), |facets| {
        facets.drain(2..4);
    });
    near(mended(&open).volume_mm3(), 64.0, 1e-12);
    let ball = ball(5.0);
    let pricked = with_facets(&ball, |facets| {
        let mut place = 0;
        facets.retain(|_| {
            place += 1;
            place % 97 != 0
        });
    });
    near(mended(&pricked).volume_mm3(), ball.volume_mm3(), 1e-12);
}

#[test]
fn corners_that_differ_in_the_last_digit_are_one() {
    let ball = ball(50.0);
    let nudge = |i: usize| 2e-6 * DVec3::new((i as f64).sin(), (i as f64).cos(), 0.0);
    let corners = (0..ball.triangles().len()).flat_map(|f| ball.corners(f));
    let corners: Vec<DVec3> = corners.enumerate().map(|(i, p)| p + nudge(i)).collect();
    let facets = (0..corners.len() as u32 / 3).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]);
    let soup = Mesh::new(corners, facets.collect()).unwrap();
    let whole = mended(&soup);
    assert_eq!(whole.triangles().len(), ball.triangles().len());
    near(whole.volume_mm3(), ball.volume_mm3(), 1e-6);
}

/// As CAD programs write a ball whose corners differ in the last digit: no fault, and closed
/// without being asked. What welding alone does not close is left for mending.
#[test]
fn cracks_by_rounding_are_closed_and_nothing_else_is() {
    let ball = ball(50.0);
    let nudge = |i: usize| 2e-6 * DVec3::new((i as f64).sin(), (i as f64).cos(), 0.0);
    let corners = (0..ball.triangles().len()).flat_map(|f| ball.corners(f));
    let corners: Vec<DVec3> = corners.enumerate().map(|(i, p)| p + nudge(i)).collect();
    let facets = (0..corners.len() as u32 / 3).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]);
    let soup = Mesh::new(corners, facets.collect()).unwrap();
    let (closed, count) = close_cracks(&soup).expect("closed");
    assert_eq!(count, soup.vertices().len() - ball.vertices().len());
    assert!(Inspection::of(&closed).is_sound());
    assert!(close_cracks(&closed).is_none());
    let pricked = with_facets(&soup, |facets| {
        facets.pop();
    });
    assert!(close_cracks(&pricked).is_none());
}

/// Blocks welded where they touch with a face: sound, and not one; a ball of which every facet
/// is there both ways bounds nothing.
#[test]
fn solids_that_share_a_face_are_no_doubles() {
    let beside = Mesh::join([block(2.0), moved(&block(2.0), DVec3::X * 2.0)]).unwrap();
    let mut welder = crate::mesh::Welder::default();
    let facets =
        (0..beside.triangles().len()).map(|f| beside.corners(f).map(|p| welder.vertex(p).unwrap()));
    let facets = facets.collect();
    let welded = Mesh::new(welder.into_vertices(), facets).unwrap();
    let seen = Inspection::of(&welded);
    assert!(seen.is_sound(), "{:?}", seen.findings());
    assert_eq!((seen.duplicate_facets.count, seen.shells.len()), (0, 2));
    let apart = mend(&welded, &Progress::new()).unwrap();
    assert!(apart.done.is_empty());
    near(apart.mesh.volume_mm3(), 16.0, 1e-12);
    let ball = ball(5.0);
    let both_ways = with_facets(&ball, |facets| {
        let back: Vec<_> = facets.iter().map(|&[a, b, c]| [b, a, c]).collect();
        facets.extend(back);
    });
    assert!(!Inspection::of(&both_ways).is_sound());
}

#[test]
fn a_t_junction_is_closed() {
    let mesh = block(4.0);
    let (mut vertices, mut facets) = (mesh.vertices().to_vec(), mesh.triangles().to_vec());
    let [a, b, c] = facets[0];
    let middle = vertices.len() as u32;
    vertices.push((vertices[a as usize] + vertices[b as usize]) * 0.5);
    facets[0] = [a, middle, c];
    facets.push([middle, b, c]);
    near(
        mended(&Mesh::new(vertices, facets).unwrap()).volume_mm3(),
        64.0,
        1e-12,
    );
}

#[test]
fn solids_that_touch_share_no_vertex() {
    let beside = Mesh::join([block(2.0), moved(&block(2.0), DVec3::new(2.0, 2.0, 0.0))]).unwrap();
    let mut welder = crate::mesh::Welder::default();
    let facets =
        (0..beside.triangles().len()).map(|f| beside.corners(f).map(|p| welder.vertex(p).unwrap()));
    let facets = facets.collect();
    let welded = Mesh::new(welder.into_vertices(), facets).unwrap();
    assert!(Inspection::of(&welded).is_sound());
    let apart = mend(&welded, &Progress::new()).unwrap().mesh;
    assert_eq!((welded.vertices().len(), apart.vertices().len()), (14, 16));
}

#[test]
fn features_of_a_tenth_of_a_micron_are_kept_far_from_the_origin() {
    for far in [DVec3::ZERO, DVec3::new(1e6, -1e6, 0.0)] {
        let small = block(1.0).map(|p| p * 2f64.powi(-13)).unwrap();
        let both = Mesh::join([small.clone(), moved(&small, DVec3::X * 2f64.powi(-14))]).unwrap();
        let far_off = moved(&both, far);
        near(mended(&far_off).volume_mm3(), 1.5 * 2f64.powi(-39), 1e-5);
    }
}

#[test]
fn sheets_are_refused_in_words() {
    let sheet = with_facets(&block(4.0), |facets| facets.truncate(2));
    let error = mend(&sheet, &Progress::new()).unwrap_err();
    assert!(error.to_string().contains("bounds no solid"), "{error}");
    let progress = Progress::new();
    progress.cancel();
    let both = Mesh::join([block(2.0), moved(&block(2.0), DVec3::X)]).unwrap();
    assert!(matches!(
        mend(&both, &progress),
        Err(MendError::Cancelled(_))
    ));
}

#[test]
fn names_are_kept() {
    let named = |mesh: Mesh, name: &str| {
        let mut groups = crate::mesh::Groups::default();
        groups.begin(name, "", 0);
        mesh.with_groups(groups)
    };
    let (cup, lid) = (
        named(block(2.0), "cup"),
        named(moved(&block(2.0), DVec3::X), "lid"),
    );
    let one = mended(&Mesh::join([cup, lid]).unwrap());
    assert_eq!(one.groups().names(), ["cup", "lid"]);
    for facet in 0..one.triangles().len() {
        let [a, b, c] = one.corners(facet);
        let x = (a + b + c).x / 3.0;
        assert!(x > -1.0 || one.groups().is_in(facet, "cup"));
        assert!(x < 1.0 || one.groups().is_in(facet, "lid"));
    }
}

/// A block with a corner next to another on a side of two facets, so that needles lie there, and
/// one within a facet next to its side, so that a cap does.
#[test]
fn slivers_are_taken_out() {
    let thin = 3e-5;
    let block = block(8.0);
    let mut vertices = block.vertices().to_vec();
    let [a, b, _] = block.triangles()[0];
    let beside = vertices.len() as u32;
    let [from, to] = [a, b].map(|v| vertices[v as usize]);
    vertices.push(from + (to - from).normalize() * thin);
    let split = |&facet: &[u32; 3]| {
        let mut turns = (0..3).map(|k| [0, 1, 2].map(|j| facet[(k + j) % 3]));
        match turns.find(|&[p, q, _]| [p, q] == [a, b] || [p, q] == [b, a]) {
            Some([p, q, r]) => vec![[p, beside, r], [beside, q, r]],
            None => vec![facet],
        }
    };
    let mut facets: Vec<[u32; 3]> = block.triangles().iter().flat_map(split).collect();
    let whole = facets.iter().position(|f| !f.contains(&beside)).unwrap();
    let [p, q, r] = facets.swap_remove(whole);
    let within = vertices.len() as u32;
    let [at_p, at_q, at_r] = [p, q, r].map(|v| vertices[v as usize]);
    let middle = 0.5 * (at_p + at_q);
    vertices.push(middle + (at_r - middle).normalize() * thin);
    facets.extend([[p, q, within], [q, r, within], [r, p, within]]);
    let slender = Mesh::new(vertices, facets).unwrap();
    let before = Inspection::of(&slender);
    assert!(before.is_sound(), "{:?}", before.findings());
    assert_eq!((before.slivers.count, before.facets), (3, 16));
    let mended = mended(&slender);
    let after = Inspection::of(&mended);
    assert!(after.is_sound() && after.slivers.count + after.empty_facets.count == 0);
    assert!(after.facets <= 14);
    near(mended.volume_mm3(), 512.0, 5e-7);
}
