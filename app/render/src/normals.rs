//! Normals that run smoothly over curved skin and break at edges.

use std::collections::HashMap;

use geometry::{DVec3, Mesh, SurfacePoint};

/// Facets that meet at less than this angle are shown as one curved skin.
const SMOOTH_BELOW_DEG: f64 = 35.0;

/// A normal for each corner of each facet.
pub(super) struct Normals {
    corner: Vec<[DVec3; 3]>,
}

impl Normals {
    /// Averages, at each corner, the facets around it that meet smoothly, weighted by the
    /// angle they take up there.
    pub(crate) fn of(mesh: &Mesh) -> Self {
        let facets = mesh.triangles().len();
        let flat: Vec<DVec3> = (0..facets)
            .map(|f| mesh.area_vector(f).normalize_or_zero())
            .collect();
        // Facets around each place, by where it is and not by index, so that a seam whose
        // vertices were never joined is smooth as well.
        let mut around: HashMap<[u64; 3], Vec<(u32, f64)>> = HashMap::new();
        for facet in 0..facets {
            for (place, angle) in corner_angles(mesh, facet) {
                around
                    .entry(key(place))
                    .or_default()
                    .push((facet as u32, angle));
            }
        }
        let least = SMOOTH_BELOW_DEG.to_radians().cos();
        let corner = (0..facets)
            .map(|facet| {
                let own = flat[facet];
                mesh.corners(facet).map(|place| {
                    let sum: DVec3 = around
                        .get(&key(place))
                        .into_iter()
                        .flatten()
                        .map(|&(f, angle)| (flat[f as usize], angle))
                        .filter(|(normal, _)| normal.dot(own) >= least)
                        .map(|(normal, angle)| normal * angle)
                        .sum();
                    sum.try_normalize().unwrap_or(own)
                })
            })
            .collect();
        Self { corner }
    }

    /// The unit normal at a point of a facet, turned to the side that is looked at.
    pub(crate) fn at(&self, mesh: &Mesh, point: SurfacePoint, toward: DVec3) -> DVec3 {
        let facet = point.facet as usize;
        let [wa, wb, wc] = weights(mesh.corners(facet), point.point_mm);
        let [a, b, c] = self.corner[facet];
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

/// A place as a key; −0 and 0 are one place.
fn key(place: DVec3) -> [u64; 3] {
    (place + DVec3::ZERO).to_array().map(f64::to_bits)
}

fn corner_angles(mesh: &Mesh, facet: usize) -> [(DVec3, f64); 3] {
    let [a, b, c] = mesh.corners(facet);
    let angle = |at: DVec3, one: DVec3, other: DVec3| {
        let angle = (one - at).angle_between(other - at);
        (at, if angle.is_finite() { angle } else { 0.0 })
    };
    [angle(a, b, c), angle(b, c, a), angle(c, a, b)]
}

/// Barycentric weights of a point in a triangle, held within it.
fn weights([a, b, c]: [DVec3; 3], point: DVec3) -> [f64; 3] {
    let (u, v, p) = (b - a, c - a, point - a);
    let (uu, uv, vv) = (u.dot(u), u.dot(v), v.dot(v));
    let (pu, pv) = (p.dot(u), p.dot(v));
    let area = uu * vv - uv * uv;
    if area <= 0.0 {
        return [1.0, 0.0, 0.0];
    }
    let wb = ((vv * pu - uv * pv) / area).clamp(0.0, 1.0);
    let wc = ((uu * pv - uv * pu) / area).clamp(0.0, 1.0 - wb);
    [1.0 - wb - wc, wb, wc]
}
