//! Long thin facets cut across, so that halving them makes pieces of a good shape.
//!
//! Halving a triangle at its longest side keeps its narrowest angle or halves it: of a facet
//! that is 400 mm long and 0.7 mm wide come needles, and an edge that is followed through it runs
//! through many more of them than it is long. Cut across first, such a facet takes a tenth.

use glam::{DVec3, Vec3Swizzles};

use super::slice::{CutSides, by_planes_with_sides};
use crate::Mesh;

/// Facets this many times as long as wide are thin.
const THIN: f64 = 8.0;

/// They are cut across if they are as long as this many pieces.
const LEAST_PIECES: f64 = 8.0;

/// No wider facet is cut across, in lengths of a piece: its pieces would be thin the other way.
const WIDEST: f64 = 4.0;

/// The planes begin this part of a length off nought, where there are rarely corners.
const OFF: f64 = 0.371;

/// Triangles, each with the facet that it came from.
pub(super) type Sourced = Vec<([u32; 3], u32)>;

/// Cuts those facets of a mesh across that are long and thin, and that `wants` names by number and
/// corners, into pieces of about `piece_mm`. Neighbours still share whole sides. None if there is
/// no such facet.
pub(super) fn across(
    mesh: &Mesh,
    piece_mm: f64,
    wants: impl Fn(u32, [DVec3; 3]) -> bool,
) -> Option<(Vec<DVec3>, Sourced)> {
    let facets = || mesh.triangles().iter().copied().zip(0u32..);
    let axis_of = |corners: [DVec3; 3], facet: u32| {
        thin_along(corners, piece_mm).filter(|_| wants(facet, corners))
    };
    if !facets().any(|(_, facet)| axis_of(mesh.corners(facet as usize), facet).is_some()) {
        return None;
    }
    let mut vertices = mesh.vertices().to_vec();
    let mut triangles: Sourced = facets().collect();
    for axis in 0..3 {
        let runs_along = |(triangle, facet): &([u32; 3], u32)| {
            let corners = triangle.map(|v| vertices[v as usize]);
            axis_of(corners, *facet) == Some(axis)
        };
        let (thin, rest): (Sourced, Sourced) = triangles.into_iter().partition(runs_along);
        triangles = rest;
        if !thin.is_empty() {
            triangles = along(axis, &mut vertices, thin, triangles, piece_mm);
        }
    }
    Some((vertices, triangles))
}

/// Cuts the thin triangles along an axis, and the rest where their sides were cut.
fn along(
    axis: usize,
    vertices: &mut Vec<DVec3>,
    thin: Sourced,
    rest: Sourced,
    piece_mm: f64,
) -> Sourced {
    // Turned in a circle until the axis is the upward one, and on until all is as it was.
    let turn = |vertices: &mut [DVec3]| vertices.iter_mut().for_each(|v| *v = v.yzx());
    (0..=axis).for_each(|_| turn(vertices));
    let planes = planes_mm(vertices, piece_mm);
    let (mut cut, sides) = by_planes_with_sides(vertices, thin.into_iter(), &planes);
    for (triangle, facet) in rest {
        fan(triangle, facet, vertices, &sides, &mut cut);
    }
    (axis + 1..3).for_each(|_| turn(vertices));
    cut
}

/// Cuts a triangle from the corners across its sides to where those were cut.
fn fan(corners: [u32; 3], facet: u32, vertices: &[DVec3], sides: &CutSides, out: &mut Sourced) {
    let cut_side = (0..3).find_map(|i| {
        let turned = [0, 1, 2].map(|k| corners[(i + k) % 3]);
        let [a, b, _] = turned;
        Some((turned, sides.get(&(a.min(b), a.max(b)))?))
    });
    let Some(([a, b, c], on_side)) = cut_side else {
        return out.push((corners, facet));
    };
    let mut points: Vec<u32> = on_side.iter().map(|(_, vertex)| *vertex).collect();
    if vertices[a as usize].z > vertices[b as usize].z {
        points.reverse();
    }
    let mut from = a;
    for to in points.into_iter().chain([b]) {
        // The other two sides may be cut as well.
        fan([from, to, c], facet, vertices, sides, out);
        from = to;
    }
}

/// The axis that a thin facet runs along, if it is one.
fn thin_along([a, b, c]: [DVec3; 3], piece_mm: f64) -> Option<usize> {
    let sides = [b - a, c - b, a - c];
    let longest = sides
        .into_iter()
        .max_by(|p, q| p.length_squared().total_cmp(&q.length_squared()))?;
    let long_mm = longest.length();
    let wide_mm = (b - a).cross(c - a).length() / long_mm;
    let is_thin = long_mm > THIN * wide_mm
        && long_mm > LEAST_PIECES * piece_mm
        && wide_mm < WIDEST * piece_mm;
    let size = longest.abs().to_array();
    let by_size = |i: &usize, j: &usize| size[*i].total_cmp(&size[*j]);
    is_thin.then(|| (0..3).max_by(by_size)).flatten()
}

/// Heights from the lowest vertex to the highest, mm.
fn planes_mm(vertices: &[DVec3], piece_mm: f64) -> Vec<f64> {
    let heights = || vertices.iter().map(|v| v.z);
    let low = heights().fold(f64::INFINITY, f64::min);
    let high = heights().fold(f64::NEG_INFINITY, f64::max);
    let first = (low / piece_mm - OFF).ceil();
    let count = ((high / piece_mm - OFF).floor() - first).max(-1.0) + 1.0;
    (0..count as u64)
        .map(|i| (first + i as f64 + OFF) * piece_mm)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surface::Adjacency;
    use crate::surface::shapes::prism;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// What was closed stays closed, with the same area, and only what is asked for is cut.
        #[test]
        fn the_skin_stays_whole(
            sides in 3_usize..80, high in 10.0..200.0f64, every in 1_usize..4,
            lie in 0_usize..3, piece in 0.7..2.0f64,
        ) {
            let mesh = prism(6.0, high, sides);
            let turned = mesh.vertices().iter().map(|v| match lie {
                0 => *v,
                1 => v.yzx(),
                _ => v.zxy(),
            });
            let mesh = Mesh::new(turned.collect(), mesh.triangles().to_vec()).expect("a mesh");
            let area = |corners: [DVec3; 3]| 0.5 * (corners[1] - corners[0]).cross(corners[2] - corners[0]).length();
            let Some((vertices, cut)) = across(&mesh, piece, |facet, _| (facet as usize).is_multiple_of(every)) else {
                return Ok(());
            };
            let mut left: Vec<f64> = (0..mesh.triangles().len()).map(|f| area(mesh.corners(f))).collect();
            let all: f64 = left.iter().sum();
            for (triangle, facet) in &cut {
                left[*facet as usize] -= area(triangle.map(|v| vertices[v as usize]));
            }
            prop_assert!(left.iter().all(|l| l.abs() < 1e-7 * all), "{left:?}");
            let triangles: Vec<[u32; 3]> = cut.iter().map(|(triangle, _)| *triangle).collect();
            let adjacency = Adjacency::new(vertices.len(), &triangles);
            let ring = adjacency.ring();
            let lonely = (0..ring.len() as u32).filter(|&side| ring[side as usize] == side).count();
            prop_assert_eq!(lonely, 0);
        }
    }

    #[test]
    fn axes_are_told_apart_and_stout_facets_left() {
        let corners =
            |x: f64, y: f64, z: f64| [DVec3::ZERO, DVec3::new(x, y, z), DVec3::new(0.3, 0.4, 0.2)];
        assert_eq!(thin_along(corners(50.0, 3.0, 2.0), 1.0), Some(0));
        assert_eq!(thin_along(corners(5.0, 30.0, 2.0), 1.0), Some(1));
        assert_eq!(thin_along(corners(5.0, -3.0, -20.0), 1.0), Some(2));
        assert_eq!(thin_along(corners(5.0, 3.0, 2.0), 1.0), None);
        assert_eq!(
            thin_along([DVec3::ZERO, DVec3::X * 50.0, DVec3::Y * 20.0], 1.0),
            None
        );
    }
}
