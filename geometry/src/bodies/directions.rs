//! Which way is inwards beneath a skin that has edges.
//!
//! Square to every facet it would jump from facet to facet, and lines inwards would cross. So
//! facet normals are smoothed over the skin: the field that is nearest to them and changes least,
//! min ∫ |n − n₀|² + ℓ² |∇n|², by linear finite elements (the cotangent formula: U. Pinkall,
//! K. Polthier, "Computing Discrete Minimal Surfaces and Their Conjugates", Experimental
//! Mathematics 2(1), 1993, from memory) and conjugate gradients.

use glam::DVec3;
use rustc_hash::FxHashMap;

use super::Skin;
use super::around::Around;

/// The greatest cotangent that counts.
const STEEPEST: f64 = 1e5;
/// Rounds of conjugate gradients, and the part of the right side at which they end.
const ROUNDS: usize = 300;
const EXACT: f64 = 1e-7;
/// A direction must make less than this with every facet's normal, as a cosine.
const LEAST_LEAN: f64 = 0.1;

/// A way outwards at a vertex.
#[derive(Clone, Copy, Debug)]
pub(super) struct Outward {
    /// Of length 1.
    pub unit: DVec3,
    /// The mean cosine between it and the normals of the painted facets there.
    pub lean: f64,
}

impl Outward {
    /// The mean normal of the facets about a vertex, by their angles.
    pub(super) fn of(skin: &Skin, around: &Around, painted: &[bool], vertex: u32) -> Self {
        let sum: DVec3 = around
            .of(vertex)
            .iter()
            .map(|&t| normal(skin, t as usize) * angle(skin, t as usize, vertex))
            .sum();
        Self::along(skin, around, painted, vertex, sum)
    }

    /// A wanted direction, turned as little as it takes to be outwards of every facet; this one
    /// where that can't be.
    pub(super) fn turned(
        self,
        skin: &Skin,
        around: &Around,
        painted: &[bool],
        vertex: u32,
        wanted: DVec3,
    ) -> Self {
        let normals: Vec<DVec3> = around
            .of(vertex)
            .iter()
            .map(|&t| normal(skin, t as usize))
            .filter(|n| *n != DVec3::ZERO)
            .collect();
        let mut unit = wanted.normalize_or_zero();
        for _ in 0..20 {
            let least = normals.iter().map(|n| n.dot(unit));
            let least = least.fold(f64::INFINITY, f64::min);
            if least >= LEAST_LEAN {
                return Self::along(skin, around, painted, vertex, unit);
            }
            let worst = normals.iter().filter(|n| n.dot(unit) < LEAST_LEAN);
            unit = (unit
                + worst
                    .map(|n| *n * (1.5 * LEAST_LEAN - n.dot(unit)))
                    .sum::<DVec3>())
            .normalize_or_zero();
        }
        self
    }

    fn along(skin: &Skin, around: &Around, painted: &[bool], vertex: u32, way: DVec3) -> Self {
        let unit = way.normalize_or(DVec3::Z);
        let (mut sum, mut weight) = (0.0, 0.0);
        for &t in around.of(vertex) {
            if painted[t as usize] {
                let angle = angle(skin, t as usize, vertex);
                sum += angle * normal(skin, t as usize).dot(unit);
                weight += angle;
            }
        }
        let lean = if weight > 0.0 { sum / weight } else { 1.0 };
        Self { unit, lean }
    }
}

/// The unit normal of a triangle; zero for one without area.
fn normal(skin: &Skin, triangle: usize) -> DVec3 {
    let [a, b, c] = skin.corners(triangle);
    (b - a).cross(c - a).normalize_or_zero()
}

/// The angle of a triangle at one of its corners.
fn angle(skin: &Skin, triangle: usize, vertex: u32) -> f64 {
    let corners = skin.triangles[triangle];
    let at = corners.iter().position(|v| *v == vertex).unwrap_or(0);
    let [a, b, c] = [0, 1, 2].map(|i| skin.at(corners[(at + i) % 3]));
    let (u, v) = ((b - a).normalize_or_zero(), (c - a).normalize_or_zero());
    u.dot(v).clamp(-1.0, 1.0).acos()
}

/// The painted skin and a margin about it.
pub(super) struct Domain {
    /// Numbers of the vertices.
    place: FxHashMap<u32, u32>,
    triangles: Vec<u32>,
}

impl Domain {
    /// All painted triangles, and others as far as `margin_mm` from them along sides.
    pub(super) fn new(skin: &Skin, painted: &[bool], around: &Around, margin_mm: f64) -> Self {
        let mut taken = painted.to_vec();
        let mut far = FxHashMap::<u32, f64>::default();
        let mut pending = Vec::new();
        for (corners, _) in skin.triangles.iter().zip(painted).filter(|(_, p)| **p) {
            for &v in corners {
                if around.of(v).iter().any(|&t| !painted[t as usize]) && !far.contains_key(&v) {
                    far.insert(v, 0.0);
                    pending.push(v);
                }
            }
        }
        while let Some(v) = pending.pop() {
            let here = far.get(&v).copied().unwrap_or(0.0);
            for &t in around.of(v) {
                if painted[t as usize] {
                    continue;
                }
                taken[t as usize] = true;
                for &w in &skin.triangles[t as usize] {
                    let there = here + skin.at(v).distance(skin.at(w));
                    if there < margin_mm && far.get(&w).is_none_or(|&known| there < known - 1e-9) {
                        far.insert(w, there);
                        pending.push(w);
                    }
                }
            }
        }
        let triangles: Vec<u32> = (0..taken.len() as u32)
            .filter(|&t| taken[t as usize])
            .collect();
        let mut place = FxHashMap::default();
        for &t in &triangles {
            for &v in &skin.triangles[t as usize] {
                let next = place.len() as u32;
                place.entry(v).or_insert(next);
            }
        }
        Self { place, triangles }
    }

    /// The number of a vertex in what [`Domain::smoothed`] gives.
    pub(super) fn place(&self, vertex: u32) -> Option<usize> {
        self.place.get(&vertex).map(|&i| i as usize)
    }

    /// Smoothed normals, one for each vertex; `reach` tells how far at each, mm. A triangle larger
    /// than a square of `coarse_mm` counts as one of that size.
    pub(super) fn smoothed(
        &self,
        skin: &Skin,
        reach: impl Fn(u32) -> f64,
        coarse_mm: f64,
    ) -> Vec<DVec3> {
        let count = self.place.len();
        let mut system = System::new(count);
        let mut right = vec![DVec3::ZERO; count];
        for &t in &self.triangles {
            let corners = skin.triangles[t as usize];
            let [a, b, c] = skin.corners(t as usize);
            let cross = (b - a).cross(c - a);
            let doubled = cross.length();
            if doubled <= 0.0 {
                continue;
            }
            let mass = (0.5 * doubled).min(coarse_mm * coarse_mm) / 3.0;
            let reach = corners.iter().map(|&v| reach(v)).sum::<f64>() / 3.0;
            let ids = corners.map(|v| self.place.get(&v).copied().unwrap_or(0));
            let at = [a, b, c];
            for i in 0..3 {
                right[ids[i] as usize] += cross / doubled * mass;
                system.mass[ids[i] as usize] += mass;
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                let cotangent = (at[j] - at[i]).dot(at[k] - at[i]) / doubled;
                let weight = 0.5 * reach * reach * cotangent.clamp(-STEEPEST, STEEPEST);
                system.link(ids[j], ids[k], weight);
            }
        }
        system.solve(&right)
    }
}

/// Mass of each vertex, and how much each pair of neighbours is held together.
struct System {
    mass: Vec<f64>,
    links: FxHashMap<(u32, u32), f64>,
}

impl System {
    fn new(count: usize) -> Self {
        Self {
            mass: vec![0.0; count],
            links: FxHashMap::default(),
        }
    }

    fn link(&mut self, a: u32, b: u32, weight: f64) {
        *self.links.entry((a.min(b), a.max(b))).or_default() += weight;
    }

    /// Conjugate gradients, each row scaled by its own size.
    fn solve(self, right: &[DVec3]) -> Vec<DVec3> {
        let mut links: Vec<((u32, u32), f64)> = self.links.into_iter().collect();
        links.sort_unstable_by_key(|link| link.0);
        // An obtuse pair pushes apart; it is left out, as that can only make the field less even.
        links.retain(|link| link.1 > 0.0);
        let mut scale = self.mass.clone();
        for ((a, b), weight) in &links {
            scale[*a as usize] += weight;
            scale[*b as usize] += weight;
        }
        let apply = |x: &[DVec3]| -> Vec<DVec3> {
            let mut y: Vec<DVec3> = x.iter().zip(&self.mass).map(|(x, m)| *x * *m).collect();
            for ((a, b), weight) in &links {
                let (a, b) = (*a as usize, *b as usize);
                let pull = (x[a] - x[b]) * *weight;
                y[a] += pull;
                y[b] -= pull;
            }
            y
        };
        let scaled = |r: &[DVec3]| -> Vec<DVec3> {
            let each = r.iter().zip(&scale);
            each.map(|(r, s)| if *s > 0.0 { *r / *s } else { *r })
                .collect()
        };
        let dot =
            |a: &[DVec3], b: &[DVec3]| -> DVec3 { a.iter().zip(b).map(|(a, b)| *a * *b).sum() };
        let mut x: Vec<DVec3> = right
            .iter()
            .zip(&self.mass)
            .map(|(r, m)| if *m > 0.0 { *r / *m } else { *r })
            .collect();
        let before = apply(&x);
        let mut rest: Vec<DVec3> = right.iter().zip(&before).map(|(r, b)| *r - *b).collect();
        let mut z = scaled(&rest);
        let mut way = z.clone();
        let mut size = dot(&rest, &z);
        let start = dot(right, &scaled(right)).max_element();
        for _ in 0..ROUNDS {
            if size.max_element() <= EXACT * EXACT * start {
                break;
            }
            let pulled = apply(&way);
            let along = dot(&way, &pulled);
            let step = DVec3::from_array([0, 1, 2].map(|i| match along[i] > 0.0 {
                true => size[i] / along[i],
                false => 0.0,
            }));
            for i in 0..x.len() {
                x[i] += way[i] * step;
                rest[i] -= pulled[i] * step;
            }
            z = scaled(&rest);
            let next = dot(&rest, &z);
            let keep = DVec3::from_array([0, 1, 2].map(|i| match size[i] > 0.0 {
                true => next[i] / size[i],
                false => 0.0,
            }));
            for (way, z) in way.iter_mut().zip(&z) {
                *way = *z + *way * keep;
            }
            size = next;
        }
        x
    }
}
