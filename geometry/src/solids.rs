//! Shapes made by formula, with areas and volumes known in closed form.
//!
//! They serve examples, demonstrations and tests. Every one is closed, its facets run
//! counter-clockwise seen from outside, and it stands on or around the origin as stated.
//!
//! ```
//! # fn main() -> Result<(), geometry::mesh::MeshError> {
//! let block = geometry::solids::cuboid(geometry::DVec3::new(20.0, 10.0, 5.0))?;
//! assert_eq!(block.volume_mm3(), 1000.0);
//! # Ok(())
//! # }
//! ```

use std::collections::HashMap;
#[cfg(test)]
use std::f64::consts::PI;
use std::f64::consts::TAU;

use glam::DVec3;

use crate::Mesh;
use crate::mesh::MeshError;

/// The finest sphere that [`icosphere`] makes: 5.2 million facets.
pub(crate) const FINEST_ICOSPHERE: u32 = 9;

/// Fewest sides of a round shape.
const FEWEST_SIDES: u32 = 3;
/// Most sides of a round shape, so that a slip of the keyboard cannot ask for all memory.
const MOST_SIDES: u32 = 100_000;

/// A box standing on the plate, centred on the z axis: 12 facets.
///
/// # Errors
/// When a side is not a finite number; likewise for every other shape here.
pub fn cuboid(size_mm: DVec3) -> Result<Mesh, MeshError> {
    let corner = |i: u32| {
        let pick = |bit: u32| f64::from(i >> bit & 1);
        DVec3::new(
            size_mm.x * (pick(0) - 0.5),
            size_mm.y * (pick(1) - 0.5),
            size_mm.z * pick(2),
        )
    };
    let quads = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    let triangles = quads
        .into_iter()
        .flat_map(|[a, b, c, d]| [[a, b, c], [a, c, d]])
        .collect();
    Mesh::new((0..8).map(corner).collect(), triangles)
}

/// A sphere about the origin: an icosahedron whose facets are split in four
/// `subdivisions` times (at most `FINEST_ICOSPHERE`), with every vertex on the sphere.
pub fn icosphere(radius_mm: f64, subdivisions: u32) -> Result<Mesh, MeshError> {
    let (mut vertices, mut triangles) = icosahedron();
    for _ in 0..subdivisions.min(FINEST_ICOSPHERE) {
        triangles = split_in_four(&mut vertices, &triangles);
    }
    for vertex in &mut vertices {
        *vertex *= radius_mm;
    }
    Mesh::new(vertices, triangles)
}

/// The regular icosahedron with unit circumradius, one vertex up and one down.
fn icosahedron() -> (Vec<DVec3>, Vec<[u32; 3]>) {
    let (height, reach) = (1.0 / 5f64.sqrt(), 2.0 / 5f64.sqrt());
    let ring = |z: f64, turn: f64| {
        (0..5).map(move |i| {
            let (sin, cos) = (TAU * (f64::from(i) + turn) / 5.0).sin_cos();
            DVec3::new(reach * cos, reach * sin, z)
        })
    };
    let mut vertices = vec![DVec3::NEG_Z];
    vertices.extend(ring(-height, 0.0));
    vertices.extend(ring(height, 0.5));
    vertices.push(DVec3::Z);
    let triangles = (0..5)
        .flat_map(|i| {
            let next = (i + 1) % 5;
            let (low, low_next, high, high_next) = (1 + i, 1 + next, 6 + i, 6 + next);
            [
                [0, low_next, low],
                [low, low_next, high],
                [high, low_next, high_next],
                [high, high_next, 11],
            ]
        })
        .collect();
    (vertices, triangles)
}

/// Splits every facet at its sides' midpoints, pushed out to the unit sphere.
fn split_in_four(vertices: &mut Vec<DVec3>, triangles: &[[u32; 3]]) -> Vec<[u32; 3]> {
    let mut middles = HashMap::with_capacity(triangles.len() * 3 / 2);
    let mut middle = |a: u32, b: u32| {
        *middles.entry((a.min(b), a.max(b))).or_insert_with(|| {
            let sum = vertices[a as usize] + vertices[b as usize];
            vertices.push(sum.normalize_or_zero());
            vertices.len() as u32 - 1
        })
    };
    let mut split = Vec::with_capacity(triangles.len() * 4);
    for &[a, b, c] in triangles {
        let [ab, bc, ca] = [middle(a, b), middle(b, c), middle(c, a)];
        split.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
    }
    split
}

/// A torus about the z axis, centred on the origin, of `around` × `across` quadrilaterals.
pub fn torus(
    ring_radius_mm: f64,
    tube_radius_mm: f64,
    around: u32,
    across: u32,
) -> Result<Mesh, MeshError> {
    let (around, across) = (sides(around), sides(across));
    let mut vertices = Vec::new();
    for i in 0..around {
        let (sin, cos) = (TAU * f64::from(i) / f64::from(around)).sin_cos();
        for j in 0..across {
            let (up, out) = (TAU * f64::from(j) / f64::from(across)).sin_cos();
            let reach = ring_radius_mm + tube_radius_mm * out;
            vertices.push(DVec3::new(reach * cos, reach * sin, tube_radius_mm * up));
        }
    }
    let at = |i: u32, j: u32| (i % around) * across + j % across;
    let mut triangles = Vec::new();
    for i in 0..around {
        for j in 0..across {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    Mesh::new(vertices, triangles)
}

/// A right prism over a regular polygon with its corners on a circle.
pub fn cylinder(radius_mm: f64, height_mm: f64, sides: u32) -> Result<Mesh, MeshError> {
    frustum(radius_mm, radius_mm, height_mm, sides)
}

/// A frustum between two regular polygons, standing on the plate about the z axis; the
/// radii reach to the corners. A radius of zero makes a point: a pyramid.
pub fn frustum(
    bottom_radius_mm: f64,
    top_radius_mm: f64,
    height_mm: f64,
    sides: u32,
) -> Result<Mesh, MeshError> {
    lathe(
        &[(bottom_radius_mm, 0.0), (top_radius_mm, height_mm)],
        sides,
    )
}

/// A round wall open at both ends, as a solid: a prism between two regular polygons.
pub fn tube(
    outer_radius_mm: f64,
    inner_radius_mm: f64,
    height_mm: f64,
    count: u32,
) -> Result<Mesh, MeshError> {
    let n = sides(count);
    let rings = [
        (outer_radius_mm, 0.0),
        (outer_radius_mm, height_mm),
        (inner_radius_mm, height_mm),
        (inner_radius_mm, 0.0),
    ];
    let vertices = rings
        .iter()
        .flat_map(|&(radius, z)| ring(radius, z, n))
        .collect();
    let triangles = (0..4)
        .flat_map(|r| wall(r * n, (r + 1) % 4 * n, n))
        .collect();
    Mesh::new(vertices, triangles)
}

/// A solid of revolution in flat sides: a profile of `(radius, height)` from the bottom up,
/// turned about the z axis and closed below and above by a fan, or by a point where the
/// profile meets the axis.
pub(crate) fn lathe(profile_mm: &[(f64, f64)], count: u32) -> Result<Mesh, MeshError> {
    let n = sides(count);
    let (Some(&first), Some(&last)) = (profile_mm.first(), profile_mm.last()) else {
        return Err(MeshError::Empty);
    };
    let on_axis = |&(radius, _): &(f64, f64)| radius == 0.0;
    let mut vertices = vec![DVec3::new(0.0, 0.0, first.1), DVec3::new(0.0, 0.0, last.1)];
    let mut rings = Vec::new();
    for &(radius, z) in profile_mm.iter().filter(|p| !on_axis(p)) {
        rings.push(vertices.len() as u32);
        vertices.extend(ring(radius, z, n));
    }
    let mut triangles = Vec::new();
    if let (Some(&bottom), Some(&top)) = (rings.first(), rings.last()) {
        for i in 0..n {
            let next = (i + 1) % n;
            triangles.push([0, bottom + next, bottom + i]);
            triangles.push([1, top + i, top + next]);
        }
    }
    for pair in rings.windows(2) {
        triangles.extend(wall(pair[0], pair[1], n));
    }
    Mesh::new(vertices, triangles)
}

/// `n` points on a circle at a height.
fn ring(radius: f64, z: f64, n: u32) -> impl Iterator<Item = DVec3> {
    (0..n).map(move |i| {
        let (sin, cos) = (TAU * f64::from(i) / f64::from(n)).sin_cos();
        DVec3::new(radius * cos, radius * sin, z)
    })
}

/// The facets between two rings of `n` vertices, facing out when the first is beneath.
fn wall(lower: u32, upper: u32, n: u32) -> impl Iterator<Item = [u32; 3]> {
    (0..n).flat_map(move |i| {
        let next = (i + 1) % n;
        [
            [lower + i, lower + next, upper + next],
            [lower + i, upper + next, upper + i],
        ]
    })
}

fn sides(asked: u32) -> u32 {
    asked.clamp(FEWEST_SIDES, MOST_SIDES)
}

/// Area of a regular polygon with its corners on a circle: ½ n r² sin(2π/n).
pub fn polygon_area_mm2(radius_mm: f64, count: u32) -> f64 {
    let n = f64::from(sides(count));
    0.5 * n * radius_mm * radius_mm * (TAU / n).sin()
}

/// Perimeter of a regular polygon with its corners on a circle: 2 n r sin(π/n).
#[cfg(test)]
pub(crate) fn polygon_perimeter_mm(radius_mm: f64, count: u32) -> f64 {
    let n = f64::from(sides(count));
    2.0 * n * radius_mm * (PI / n).sin()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64, relative: f64) -> bool {
        (a - b).abs() <= relative * b.abs()
    }

    #[test]
    fn volumes_meet_their_closed_forms() {
        let n = 17;
        let block = cuboid(DVec3::new(2.0, 3.0, 4.0)).unwrap();
        assert!(close(block.volume_mm3(), 24.0, 1e-14));
        assert!(close(block.area_mm2(), 52.0, 1e-14));
        let column = cylinder(3.0, 7.0, n).unwrap();
        assert!(close(
            column.volume_mm3(),
            7.0 * polygon_area_mm2(3.0, n),
            1e-13
        ));
        // Frustum: h/3 (A + a + √(A a)).
        let (big, small) = (polygon_area_mm2(5.0, n), polygon_area_mm2(2.0, n));
        let expected = 9.0 / 3.0 * (big + small + (big * small).sqrt());
        let cut_cone = frustum(5.0, 2.0, 9.0, n).unwrap();
        assert!(close(cut_cone.volume_mm3(), expected, 1e-13));
        let cone = frustum(5.0, 0.0, 9.0, n).unwrap();
        assert!(close(cone.volume_mm3(), 3.0 * big, 1e-13));
        let pipe = tube(5.0, 2.0, 9.0, n).unwrap();
        assert!(close(pipe.volume_mm3(), 9.0 * (big - small), 1e-13));
    }

    #[test]
    fn round_shapes_come_near_their_round_volumes() {
        let ball = icosphere(10.0, 5).unwrap();
        assert!(close(ball.volume_mm3(), 4000.0 / 3.0 * PI, 2e-3));
        assert!(close(ball.area_mm2(), 400.0 * PI, 1e-3));
        // Torus: 2π²Rr² and 4π²Rr.
        let ring = torus(20.0, 5.0, 300, 150).unwrap();
        assert!(close(ring.volume_mm3(), 2.0 * PI * PI * 20.0 * 25.0, 1e-3));
        assert!(close(ring.area_mm2(), 4.0 * PI * PI * 100.0, 1e-3));
    }

    #[test]
    fn a_size_that_is_no_number_is_refused() {
        assert!(cuboid(DVec3::NAN).is_err());
        assert!(icosphere(f64::INFINITY, 1).is_err());
        assert!(lathe(&[], 8).is_err());
    }
}
