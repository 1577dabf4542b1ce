use glam::DVec3;

use super::*;
use crate::surface::shapes::surface;
use crate::{Mesh, SurfacePoint};

#[path = "../../../examples/stroke_study/shapes.rs"]
#[allow(
    dead_code,
    reason = "the study takes all of the shapes, these tests some"
)]
mod slivers;

const EVERYWHERE: Bounds = Bounds {
    reach_mm: f64::MAX,
    tube: None,
    tolerance: 0.0,
};

fn distances(surface: &Surface, at: SurfacePoint, bounds: Bounds) -> Distances {
    let line = Line::dot(at);
    Distances::new(surface, &line.pieces, bounds, false, &Progress::new()).expect("not stopped")
}

/// A sheet of 20 mm by 10 mm, of two squares of two facets.
fn sheet() -> Mesh {
    let at = |i: u32| DVec3::new(10.0 * f64::from(i % 3), 10.0 * f64::from(i / 3), 0.0);
    let triangles = vec![[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]];
    Mesh::new((0..6).map(at).collect(), triangles).expect("valid")
}

/// A sheet cut to slivers and folded in its middle has the distances of the flat one.
#[test]
fn slivers_of_a_folded_sheet_do_not_change_its_distances() {
    for times in [0, 10, 100, 1000] {
        let flat = slivers::split(sheet(), times, 1e-5).expect("valid");
        let fold = |p: DVec3| DVec3::new(p.x.min(10.0), p.y, (p.x - 10.0).max(0.0));
        let folded = surface(flat.clone().map(fold).expect("valid"));
        let mut random = slivers::Random::new(times as u64);
        for _ in 0..6 {
            let start = random.below(flat.triangles().len());
            let middle = |mesh: &Mesh| mesh.corners(start).into_iter().sum::<DVec3>() / 3.0;
            let at = SurfacePoint {
                point_mm: middle(folded.mesh()),
                facet: start as u32,
            };
            let exact = distances(&folded, at, EVERYWHERE);
            let merged = Bounds {
                tolerance: TOLERANCE,
                ..EVERYWHERE
            };
            let merged = distances(&folded, at, merged);
            for facet in 0..flat.triangles().len() {
                let [a, b, c] = flat.corners(facet);
                let [p, q, r] = folded.mesh().corners(facet);
                for (u, v) in [(0.0, 0.0), (0.3, 0.3), (0.9, 0.05)] {
                    let wanted = (a + (b - a) * u + (c - a) * v).distance(middle(&flat));
                    let place = p + (q - p) * u + (r - p) * v;
                    let found = exact.at(facet as u32, place);
                    assert!(
                        (found - wanted).abs() < 1e-7,
                        "{times}: {found} not {wanted}"
                    );
                    let found = merged.at(facet as u32, place);
                    assert!((found - wanted).abs() <= 1e-7 + 2.0 * TOLERANCE * wanted);
                }
            }
        }
    }
}

/// A straight front, and what is round at its ends, over a fold and through slivers.
#[test]
fn from_a_line_too_slivers_do_not_change_distances() {
    let flat = slivers::split(sheet(), 300, 1e-4).expect("valid");
    let surface = surface(flat);
    let (a, b) = (DVec3::new(3.0, 2.0, 0.0), DVec3::new(16.0, 7.0, 0.0));
    let line = trace(&surface, surface.nearest(a), surface.nearest(b), 1.0);
    assert!(line.plane.is_some());
    let found = Distances::new(&surface, &line.pieces, EVERYWHERE, false, &Progress::new());
    let found = found.expect("not stopped");
    for facet in 0..surface.mesh().triangles().len() {
        for corner in surface.mesh().corners(facet) {
            let foot = crate::surface::facet::nearest_on_segment(a, b, corner);
            let wanted = foot.distance(corner);
            let off = (found.at(facet as u32, corner) - wanted).abs();
            assert!(off < 2e-5, "{off} at {corner}");
        }
    }
}

/// The work is counted, not timed: it grows no faster than the square of the facets, whatever
/// their shape, and on these with a power far below.
#[test]
fn the_work_grows_with_the_facets_and_not_with_their_shape() {
    let mut counts = Vec::new();
    for times in [250, 500, 1000, 2000] {
        let cube = crate::solids::cuboid(DVec3::splat(40.0)).expect("valid");
        let mesh = slivers::split(cube, times, 1e-6).expect("valid");
        let facets = mesh.triangles().len();
        let surface = surface(mesh);
        let at = surface.nearest(DVec3::new(20.0, 11.0, 40.0));
        let all = Bounds {
            tolerance: TOLERANCE,
            ..EVERYWHERE
        };
        counts.push((facets, distances(&surface, at, all).steps()));
    }
    for &(facets, steps) in &counts {
        assert!(steps < 40 * facets, "{steps} steps for {facets} facets");
    }
}

/// Thin facets and saddles all the way round.
#[test]
fn a_twisted_column_takes_few_steps() {
    for sections in [45, 90, 180] {
        let mesh = slivers::twisted(sections, 4, 1.0).expect("valid");
        let facets = mesh.triangles().len();
        let surface = surface(mesh);
        for z in [1.0, 31.0, 60.5] {
            let at = surface.nearest(DVec3::new(22.0, 0.0, z));
            let all = Bounds {
                tolerance: TOLERANCE,
                ..EVERYWHERE
            };
            let steps = distances(&surface, at, all).steps();
            assert!(steps < 100 * facets, "{steps} steps for {facets} facets");
        }
    }
}

/// A rippled sheet of 16 mm by 16 mm, in cells of a quarter of a mm.
fn rippled(high_mm: f64, wave_mm: f64) -> Surface {
    const CELLS: u32 = 64;
    let at = |i: u32| {
        let (x, y) = (f64::from(i % (CELLS + 1)), f64::from(i / (CELLS + 1)));
        let turn = |cells: f64| cells * 0.25 / wave_mm * std::f64::consts::TAU;
        DVec3::new(x, y, 0.0) * 0.25 + DVec3::Z * high_mm * turn(x).sin() * turn(0.6 * y).cos()
    };
    let cell = |i: u32| {
        let a = i % CELLS + i / CELLS * (CELLS + 1);
        let (b, c, d) = (a + 1, a + CELLS + 2, a + CELLS + 1);
        match (i * 7919) % 3 {
            0 => [[a, b, c], [a, c, d]],
            _ => [[a, b, d], [b, c, d]],
        }
    };
    let vertices = (0..(CELLS + 1) * (CELLS + 1)).map(at).collect();
    let facets = (0..CELLS * CELLS).flat_map(cell).collect();
    surface(Mesh::new(vertices, facets).expect("valid"))
}

/// Where a hill is said to be within reach it is, by exact distances; and ripples that are too
/// steep here and there, but not along whole ways, are said to be so too.
#[test]
fn hills_within_reach_are_within_reach() {
    let (near_mm, reach_mm) = (2.0, 3.0);
    let mut said = Vec::new();
    for (high_mm, wave_mm) in [(0.0, 1.0), (0.3, 8.0), (0.3, 2.0), (0.3, 1.5), (0.3, 1.0)] {
        let surface = rippled(high_mm, wave_mm);
        let mut random = slivers::Random::new(5);
        let mut hills = 0;
        for i in 0..12 {
            let mut place = || {
                let xy = [random.share(), random.share()].map(|s| 5.0 + 6.0 * s);
                surface.nearest(DVec3::new(xy[0], xy[1], 0.0))
            };
            let (from, to) = (place(), place());
            let line = match i % 2 {
                0 => Line::dot(from),
                _ => trace(&surface, from, to, 9.0),
            };
            let plane = line.plane.expect("it arrives");
            let up = (DVec3::Z - plane * plane.z).normalize();
            let chart = Chart::new(line.ends[0], line.ends[1], up).expect("upright");
            let disc = Disc {
                radius_mm: 0.5 * (near_mm + reach_mm),
                near_mm,
                reach_mm,
            };
            let mut visited = crate::surface::Visited::new(surface.mesh().triangles().len());
            let first = line.pieces.iter().map(|piece| piece.facet);
            let Ok(facets) = chart.hill(&surface, first, disc, &mut visited) else {
                continue;
            };
            hills += 1;
            let exact = Distances::new(&surface, &line.pieces, EVERYWHERE, false, &Progress::new());
            let exact = exact.expect("not stopped");
            let seen = |p: DVec3| p - up * up.dot(p);
            let [a, b] = line.ends.map(seen);
            for facet in facets {
                for corner in surface.mesh().corners(facet as usize) {
                    let foot = crate::surface::facet::nearest_on_segment(a, b, seen(corner));
                    let found = exact.at(facet, corner);
                    let near = foot.distance(seen(corner)) <= near_mm;
                    assert!(!near || found <= reach_mm + 1e-6, "{found} at {corner}");
                }
            }
        }
        said.push(hills);
    }
    assert_eq!(&said[..2], [12, 12], "{said:?}");
    // The slopes of the fourth are up to 51°: for two thirds of the reach, cosines of 0.67 and
    // more are within reach whatever their place.
    assert!(said[2] > 0 && said[3] > 0 && said[4] < 12, "{said:?}");
}
