//! Small shapes for tests.

use std::collections::HashMap;
use std::sync::Arc;

use glam::DVec3;

use crate::{Mesh, Surface};

pub(crate) fn surface(mesh: Mesh) -> Surface {
    Surface::new(Arc::new(mesh))
}

/// Joins triangles at corners that are the same to a millionth of a millimetre.
pub(crate) fn welded(triangles: impl IntoIterator<Item = [DVec3; 3]>) -> Mesh {
    let mut vertices = Vec::new();
    let mut known = HashMap::new();
    let triangles = triangles.into_iter().map(|t| {
        t.map(|p| {
            let key = (p * 1e6).round().to_array().map(|x| x as i64);
            *known.entry(key).or_insert_with(|| {
                vertices.push(p);
                vertices.len() as u32 - 1
            })
        })
    });
    let triangles = triangles.collect();
    Mesh::new(vertices, triangles).expect("a proper shape")
}

/// A block from the origin to `size`, each face one square of two triangles.
pub(crate) fn block(size: DVec3) -> Mesh {
    let p = |i: u32| DVec3::new((i & 1) as f64, (i >> 1 & 1) as f64, (i >> 2) as f64) * size;
    let squares = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    welded(
        squares
            .into_iter()
            .flat_map(|[a, b, c, d]| [[p(a), p(b), p(c)], [p(a), p(c), p(d)]]),
    )
}

/// The same shape with every facet cut in four, `times` over.
pub(crate) fn finer(mesh: &Mesh, times: usize) -> Mesh {
    let mut triangles: Vec<[DVec3; 3]> = (0..mesh.triangles().len())
        .map(|f| mesh.corners(f))
        .collect();
    for _ in 0..times {
        triangles = triangles
            .into_iter()
            .flat_map(|[a, b, c]| {
                let (d, e, f) = (a.midpoint(b), b.midpoint(c), c.midpoint(a));
                [[a, d, f], [d, b, e], [f, e, c], [d, e, f]]
            })
            .collect();
    }
    welded(triangles)
}

/// The block cut fine, its inner vertices shifted about within their faces: triangles of
/// all shapes, many of them obtuse.
pub(crate) fn uneven_block(size: DVec3, times: usize) -> Mesh {
    let even = finer(&block(size), times);
    let step = size / (1 << times) as f64;
    let shifted = even.vertices().iter().enumerate().map(|(i, &p)| {
        let inner = |k: usize| p[k] > 1e-9 && p[k] < size[k] - 1e-9;
        let free = [0, 1, 2].map(inner);
        let angle = 2.399_963 * i as f64;
        let shift = DVec3::new(angle.cos(), (1.7 * angle).sin(), (2.3 * angle).cos()) * 0.24 * step;
        if free.iter().filter(|&&f| f).count() == 2 {
            p + DVec3::from_array([0, 1, 2].map(|k| if free[k] { shift[k] } else { 0.0 }))
        } else {
            p
        }
    });
    Mesh::new(shifted.collect(), even.triangles().to_vec()).expect("a proper shape")
}

/// A ball about the origin: a block made finer and blown up.
pub(crate) fn ball(radius: f64, times: usize) -> Mesh {
    let cube = finer(&block(DVec3::splat(2.0)), times);
    let corners = |f| {
        cube.corners(f)
            .map(|p| (p - DVec3::ONE).normalize() * radius)
    };
    welded((0..cube.triangles().len()).map(corners))
}

/// An upright prism about the z axis, near enough a cylinder; its sides are as long as it
/// is high, and its ends are fans.
pub(crate) fn prism(radius: f64, height: f64, sides: usize) -> Mesh {
    let at = |i: usize, z: f64| {
        let angle = std::f64::consts::TAU * (i % sides) as f64 / sides as f64;
        DVec3::new(radius * angle.cos(), radius * angle.sin(), z)
    };
    let (bottom, top) = (DVec3::ZERO, DVec3::Z * height);
    welded((0..sides).flat_map(|i| {
        let [a, b, c, d] = [at(i, 0.0), at(i + 1, 0.0), at(i + 1, height), at(i, height)];
        [[a, b, c], [a, c, d], [bottom, b, a], [top, d, c]]
    }))
}

/// An upright prism over an L: a square of `size` with its far quarter missing.
pub(crate) fn corner_piece(size: f64, height: f64) -> Mesh {
    let h = size / 2.0;
    let outline = [
        (0.0, 0.0),
        (size, 0.0),
        (size, h),
        (h, h),
        (h, size),
        (0.0, size),
    ];
    let at = |i: usize, z: f64| DVec3::new(outline[i % 6].0, outline[i % 6].1, z);
    let walls = (0..6).flat_map(|i| {
        let [a, b, c, d] = [at(i, 0.0), at(i + 1, 0.0), at(i + 1, height), at(i, height)];
        [[a, b, c], [a, c, d]]
    });
    let faces = [[3, 0, 1], [3, 1, 2], [3, 5, 0], [3, 4, 5]];
    let ends = faces.into_iter().flat_map(|[a, b, c]| {
        let top = [at(a, height), at(b, height), at(c, height)];
        [top, [at(a, 0.0), at(c, 0.0), at(b, 0.0)]]
    });
    welded(walls.chain(ends))
}
