//! Normals that run smoothly over curved skin and break at edges.

use geometry::mesh::Fans;
use geometry::{DVec3, Mesh, SurfacePoint, Vec3};
use rayon::prelude::*;

/// Facets that meet at less than this angle are shown as one curved skin.
const SMOOTH_BELOW_DEG: f64 = 35.0;

/// Places that are looked at together, one thread at a time.
const TOGETHER: usize = 4096;

/// A normal for each corner of each facet; where all facets about a place meet smoothly, they
/// share one.
pub(super) struct Normals {
    normals: Vec<Vec3>,
    /// For each corner of each facet its place in `normals`.
    corner: Vec<[u32; 3]>,
}

impl Normals {
    /// Averages, at each corner, the facets around it that meet smoothly, weighted by the
    /// angle they take up there.
    pub(crate) fn of(mesh: &Mesh) -> Self {
        let around = around(mesh);
        let places: Vec<usize> = (0..around.count()).collect();
        let found = places.par_chunks(TOGETHER).map(|places| {
            let mut found = Found::default();
            for &place in places {
                found.add(mesh, around.at(place));
            }
            found
        });
        let found: Vec<Found> = found.collect();
        let mut normals = Vec::with_capacity(found.iter().map(|f| f.normals.len()).sum());
        let mut corner = vec![[0; 3]; mesh.triangles().len()];
        let mut corners = around.corners().iter();
        for found in found {
            let begin = normals.len() as u32;
            // As many as there are names, so that the rest is left for those to come.
            for (name, &at) in found.names.iter().zip(corners.by_ref()) {
                corner[at as usize / 3][at as usize % 3] = begin + name;
            }
            normals.extend(found.normals);
        }
        Self { normals, corner }
    }

    /// The unit normal at a point of a facet, turned to the side that is looked at.
    pub(crate) fn at(&self, mesh: &Mesh, point: SurfacePoint, toward: DVec3) -> DVec3 {
        let facet = point.facet as usize;
        let [wa, wb, wc] = weights(mesh.corners(facet), point.point_mm);
        let [a, b, c] = self.corner[facet].map(|normal| self.normals[normal as usize].as_dvec3());
        let normal = (a * wa + b * wb + c * wc).try_normalize().unwrap_or(toward);
        // The facet and not the smooth normal says which side is seen: at a silhouette the
        // smooth one may already lean away.
        let flat = mesh.area_vector(facet);
        if flat.dot(toward) < 0.0 {
            -normal
        } else {
            normal
        }
    }
}

/// The corners at each place of a mesh: by where it is and not by its number, so that a seam
/// whose vertices were never joined is smooth as well.
fn around(mesh: &Mesh) -> Fans {
    let (place_of, count) = places(mesh);
    let corners = mesh.triangles().as_flattened().iter();
    Fans::of(count, corners.map(|&vertex| place_of[vertex as usize]))
}

/// For each vertex a number of its place, and how many places there are.
fn places(mesh: &Mesh) -> (Vec<u32>, usize) {
    let key = |vertex: u32| key(mesh.vertices()[vertex as usize]);
    let mut order: Vec<u32> = (0..mesh.vertices().len() as u32).collect();
    order.par_sort_unstable_by_key(|&vertex| key(vertex));
    let mut place_of = vec![0; order.len()];
    let mut count = 0;
    for same in order.chunk_by(|&a, &b| key(a) == key(b)) {
        for &vertex in same {
            place_of[vertex as usize] = count;
        }
        count += 1;
    }
    (place_of, count as usize)
}

/// The normals at some places that follow each other.
#[derive(Default)]
struct Found {
    normals: Vec<Vec3>,
    /// For each corner at these places which of the normals is its own.
    names: Vec<u32>,
}

impl Found {
    /// Adds a place, given the corners there.
    fn add(&mut self, mesh: &Mesh, corners: &[u32]) {
        let least = SMOOTH_BELOW_DEG.to_radians().cos();
        let around = corners.iter().map(|&corner| {
            let facet = corner as usize / 3;
            let normal = mesh.area_vector(facet).normalize_or_zero();
            (normal, corner_angle(mesh, facet, corner as usize % 3))
        });
        let around: Vec<(DVec3, f64)> = around.collect();
        let meets = |own: DVec3, other: DVec3| other.dot(own) >= least;
        let sum_of = |own: DVec3| -> DVec3 {
            let smooth = around.iter().filter(|(normal, _)| meets(own, *normal));
            smooth.map(|&(normal, angle)| normal * angle).sum()
        };
        let all_meet = around
            .iter()
            .all(|(own, _)| around.iter().all(|(other, _)| meets(*own, *other)));
        let shared = all_meet
            .then(|| {
                around
                    .first()
                    .and_then(|(own, _)| sum_of(*own).try_normalize())
            })
            .flatten();
        match shared {
            Some(normal) => {
                let name = self.normals.len() as u32;
                self.normals.push(normal.as_vec3());
                self.names.extend(around.iter().map(|_| name));
            }
            None => {
                for (own, _) in &around {
                    self.names.push(self.normals.len() as u32);
                    let normal = sum_of(*own).try_normalize().unwrap_or(*own);
                    self.normals.push(normal.as_vec3());
                }
            }
        }
    }
}

/// A place as a key; −0 and 0 are one place.
fn key(place: DVec3) -> [u64; 3] {
    (place + DVec3::ZERO).to_array().map(f64::to_bits)
}

/// The angle of a facet at one of its corners; 0 where it has none.
fn corner_angle(mesh: &Mesh, facet: usize, corner: usize) -> f64 {
    let corners = mesh.corners(facet);
    let [at, one, other] = [0, 1, 2].map(|i| corners[(corner + i) % 3]);
    let angle = (one - at).angle_between(other - at);
    if angle.is_finite() { angle } else { 0.0 }
}

/// Barycentric weights of a point in a triangle, held within it.
fn weights(corners: [DVec3; 3], point: DVec3) -> [f64; 3] {
    let [_, second, third] = geometry::pieces::weights(corners, point);
    let second = second.clamp(0.0, 1.0);
    let third = third.clamp(0.0, 1.0 - second);
    [1.0 - second - third, second, third]
}
