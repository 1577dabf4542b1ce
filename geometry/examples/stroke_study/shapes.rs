//! Sound meshes of thin facets, as CAD programs write them and worse.

use std::collections::HashMap;

use geometry::mesh::MeshError;
use geometry::{DVec3, Mesh, solids};

/// Numbers at random from a seed: Marsaglia's xorshift.
pub(super) struct Random(u64);

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// In `0..1`.
    pub(super) fn share(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(super) fn below(&mut self, count: usize) -> usize {
        ((self.share() * count as f64) as usize).min(count - 1)
    }
}

/// The meshes of the study, each with its name.
pub(super) fn all() -> Result<Vec<(&'static str, Mesh)>, MeshError> {
    Ok(vec![
        (
            "cylinder of 180 sections, 400 mm high",
            solids::cylinder(20.0, 400.0, 180)?,
        ),
        (
            "cylinder of 720 sections, 400 mm high",
            solids::cylinder(20.0, 400.0, 720)?,
        ),
        ("washer, bore of 360 in a rim of 7", washer(7, 360, 2.0)?),
        (
            "washer, bore of 12 in a rim of 1440",
            washer(1440, 12, 0.5)?,
        ),
        ("twisted column of 90 sections", twisted(90, 4, 1.0)?),
        (
            "twisted column of 48 sections, 40 rings",
            twisted(48, 40, 3.0)?,
        ),
        ("ribbed column, 300 sections", ribbed(300, 6)?),
        ("ribbed column, 1200 sections", ribbed(1200, 2)?),
        (
            "cube, sides split at random, 2,000 times",
            split(solids::cuboid(DVec3::splat(40.0))?, 2000, 1e-3)?,
        ),
        (
            "cube, sides split next to corners, 600 times",
            split(solids::cuboid(DVec3::splat(40.0))?, 600, 1e-6)?,
        ),
        (
            "column, sides split at random, 3,000 times",
            split(solids::cylinder(15.0, 60.0, 24)?, 3000, 1e-2)?,
        ),
        (
            "ball, sides split at random, 20,000 times",
            split(solids::icosphere(25.0, 3)?, 20_000, 1e-2)?,
        ),
        ("ball of 1.3 million", solids::icosphere(50.0, 8)?),
        ("rough ball of 330 thousand", rough(7)?),
    ])
}

/// A flat ring whose rim and bore have counts of corners of their own: long thin facets between.
fn washer(rim: usize, bore: usize, high: f64) -> Result<Mesh, MeshError> {
    let ring = |radius: f64, count: usize, z: f64| {
        (0..count).map(move |i| {
            let angle = std::f64::consts::TAU * i as f64 / count as f64;
            DVec3::new(radius * angle.cos(), radius * angle.sin(), z)
        })
    };
    let mut vertices = Vec::new();
    for z in [0.0, high] {
        vertices.extend(ring(40.0, rim, z));
        vertices.extend(ring(12.0, bore, z));
    }
    let level = (rim + bore) as u32;
    let (rim, bore) = (rim as u32, bore as u32);
    let (outer, inner) = (|i: u32| i % rim, |i: u32| rim + i % bore);
    let mut triangles = Vec::new();
    // The faces, by going round both rings at the same pace.
    let (mut i, mut j) = (0, 0);
    while i < rim || j < bore {
        let next_outer = f64::from(i + 1) / f64::from(rim);
        let next_inner = f64::from(j + 1) / f64::from(bore);
        let t = if j == bore || (i < rim && next_outer <= next_inner) {
            i += 1;
            [outer(i - 1), outer(i), inner(j)]
        } else {
            j += 1;
            [outer(i), inner(j), inner(j - 1)]
        };
        triangles.push([t[0] + level, t[1] + level, t[2] + level]);
        triangles.push([t[0], t[2], t[1]]);
    }
    for i in 0..rim {
        let (a, b) = (outer(i), outer(i + 1));
        triangles.extend([[a, b, b + level], [a, b + level, a + level]]);
    }
    for j in 0..bore {
        let (a, b) = (inner(j), inner(j + 1));
        triangles.extend([[a, b + level, b], [a, a + level, b + level]]);
    }
    Mesh::new(vertices, triangles)
}

/// A star-shaped column turned about its axis as it rises: saddles, and facets as long as a ring.
pub(super) fn twisted(sections: usize, rings: usize, turns: f64) -> Result<Mesh, MeshError> {
    column(sections, rings, |angle, share| {
        let radius = 20.0 + 4.0 * (5.0 * angle).cos();
        (radius, angle + turns * share)
    })
}

/// A column with a rib at every other section.
fn ribbed(sections: usize, rings: usize) -> Result<Mesh, MeshError> {
    let step = std::f64::consts::TAU / sections as f64;
    column(sections, rings, move |angle, _| {
        let odd = (angle / step).round() as usize % 2 == 1;
        (if odd { 21.0 } else { 20.0 }, angle)
    })
}

fn column(
    sections: usize,
    rings: usize,
    at: impl Fn(f64, f64) -> (f64, f64),
) -> Result<Mesh, MeshError> {
    let high = 120.0;
    let mut vertices = vec![DVec3::ZERO, DVec3::Z * high];
    for ring in 0..=rings {
        let share = ring as f64 / rings as f64;
        for i in 0..sections {
            let angle = std::f64::consts::TAU * i as f64 / sections as f64;
            let (radius, angle) = at(angle, share);
            vertices.push(DVec3::new(
                radius * angle.cos(),
                radius * angle.sin(),
                high * share,
            ));
        }
    }
    let name = |ring: usize, i: usize| (2 + ring * sections + i % sections) as u32;
    let mut triangles = Vec::new();
    for i in 0..sections {
        triangles.push([0, name(0, i + 1), name(0, i)]);
        triangles.push([1, name(rings, i), name(rings, i + 1)]);
        for ring in 0..rings {
            let (a, b) = (name(ring, i), name(ring, i + 1));
            let (c, d) = (name(ring + 1, i + 1), name(ring + 1, i));
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    Mesh::new(vertices, triangles)
}

/// Splits sides at random, the facets on both sides of them with them; the new corner is never
/// nearer to an end than a share. The shape stays what it was, and its facets become slivers.
pub(super) fn split(mesh: Mesh, times: usize, nearest: f64) -> Result<Mesh, MeshError> {
    let mut vertices = mesh.vertices().to_vec();
    let mut triangles = mesh.triangles().to_vec();
    let key = |a: u32, b: u32| (a.min(b), a.max(b));
    let mut on = HashMap::<(u32, u32), Vec<usize>>::new();
    for (f, t) in triangles.iter().enumerate() {
        for i in 0..3 {
            on.entry(key(t[i], t[(i + 1) % 3])).or_default().push(f);
        }
    }
    let mut random = Random::new(times as u64);
    for _ in 0..times {
        let t = triangles[random.below(triangles.len())];
        let side = random.below(3);
        let (a, b) = (t[side], t[(side + 1) % 3]);
        // Mostly near an end.
        let share = nearest.powf(random.share()) * 0.5;
        let share = if random.share() < 0.5 {
            share
        } else {
            1.0 - share
        };
        let middle = vertices.len() as u32;
        vertices.push(vertices[a as usize].lerp(vertices[b as usize], share));
        for f in on.remove(&key(a, b)).unwrap_or_default() {
            let t = triangles[f];
            let turned = (0..3)
                .find(|&i| key(t[i], t[(i + 1) % 3]) == key(a, b))
                .unwrap_or(0);
            let [p, q, r] = [0, 1, 2].map(|i| t[(turned + i) % 3]);
            let new = triangles.len();
            triangles[f] = [p, middle, r];
            triangles.push([middle, q, r]);
            on.entry(key(p, middle)).or_default().push(f);
            on.entry(key(middle, q)).or_default().push(new);
            on.entry(key(middle, r)).or_default().extend([f, new]);
            if let Some(known) = on.get_mut(&key(q, r)) {
                for known in known.iter_mut().filter(|known| **known == f) {
                    *known = new;
                }
            }
        }
    }
    Mesh::new(vertices, triangles)
}

/// A ball with ripples steeper than a brush may take for flat.
fn rough(subdivisions: u32) -> Result<Mesh, MeshError> {
    solids::icosphere(1.0, subdivisions)?.map(|p| {
        let ripple = (90.0 * p.x).sin() * (90.0 * p.y).sin() * (90.0 * p.z).sin();
        p * (50.0 + 1.2 * ripple)
    })
}
