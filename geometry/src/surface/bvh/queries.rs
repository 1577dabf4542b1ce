//! Questions to the tree: nearest points, first hits of rays, facets in a box.

use glam::{DVec3, Vec3, Vec4};

use super::node::{Bounds, F32x8, Node};
use super::ray_packet::{RAYS, RayPacket};
use super::ray_traversal::RayTraversal;
use super::{Bvh, entry, loosened};
use crate::Mesh;
use crate::surface::facet::nearest_on;
use crate::surface::{Ray, SurfacePoint};

impl Bvh {
    /// The nearest point of the skin that is no farther than `max_mm`.
    pub(in crate::surface) fn nearest(
        &self,
        mesh: &Mesh,
        point: DVec3,
        max_mm: f64,
    ) -> Option<SurfacePoint> {
        // A box that holds nothing has no place that could be compared with no place.
        if point.is_nan() {
            return None;
        }
        let seen = self.frame.inside(point).as_vec3();
        let to_cost = self.frame.scale * self.frame.scale;
        let mut best = (max_mm * max_mm, None::<SurfacePoint>);
        let distances = |node: &Node| {
            let mut sum = [Vec4::ZERO; 2];
            for axis in 0..3 {
                let [low, high] = node.sides(axis, -seen[axis], 1.0);
                for half in 0..2 {
                    let off = low[half].max(-high[half]).max(Vec4::ZERO);
                    sum[half] += off * off;
                }
            }
            [sum[0] * (1.0 - 1e-5), sum[1] * (1.0 - 1e-5)]
        };
        self.boxes
            .search(loosened(best.0 * to_cost), distances, |facet| {
                let q = nearest_on(mesh.corners(facet as usize), point);
                let distance = q.distance_squared(point);
                let (least, found) = best;
                let wins = distance < least
                    || (distance == least && found.is_none_or(|f| facet < f.facet));
                wins.then(|| {
                    best = (distance, Some(SurfacePoint { point_mm: q, facet }));
                    loosened(distance * to_cost)
                })
            });
        best.1
    }

    /// The first point of the skin along a ray.
    pub(in crate::surface) fn first_hit(&self, mesh: &Mesh, ray: &Ray) -> Option<SurfacePoint> {
        let mut traversal = RayTraversal::new(ray, &self.frame)?;
        let single = SingleRay::new(&traversal);
        self.boxes.search(
            f32::MAX,
            |node| single.entries(node),
            |facet| traversal.meets(mesh, facet),
        );
        traversal.end()
    }

    /// The first point of the skin along each of many rays.
    pub(in crate::surface) fn first_hits(
        &self,
        mesh: &Mesh,
        rays: &[Ray],
    ) -> Vec<Option<SurfacePoint>> {
        let mut hits = Vec::with_capacity(rays.len());
        for rays in rays.chunks(RAYS) {
            let packet = RayPacket::new(rays, &self.frame);
            let found = packet.first_hits(mesh, &self.boxes);
            hits.extend(found.into_iter().take(rays.len()));
        }
        hits
    }

    /// Every facet whose box touches a box; a few more than that may come along.
    pub(in crate::surface) fn facets_in_box(
        &self,
        lo: DVec3,
        hi: DVec3,
        mut each: impl FnMut(u32),
    ) {
        let Bounds { low, high } = self.frame.padded(lo, hi);
        let touching = |node: &Node| {
            let mut apart = [Vec4::NEG_INFINITY; 2];
            for axis in 0..3 {
                let [begin, end] = node.sides(axis, 0.0, 1.0);
                for half in 0..2 {
                    let before = begin[half] - Vec4::splat(high[axis]);
                    let behind = Vec4::splat(low[axis]) - end[half];
                    apart[half] = apart[half].max(before).max(behind);
                }
            }
            let cost = |a: Vec4| Vec4::select(a.cmple(Vec4::ZERO), Vec4::ZERO, Vec4::INFINITY);
            [cost(apart[0]), cost(apart[1])]
        };
        self.boxes.search(f32::MAX, touching, |facet| {
            each(facet);
            None
        });
    }
}

/// A ray in single precision, to be weighed against all boxes of a node at once.
struct SingleRay {
    from: Vec3,
    inverse: Vec3,
    forwards: [bool; 3],
}

impl SingleRay {
    fn new(traversal: &RayTraversal) -> Self {
        let [x, y, z] = traversal.inverse.to_array();
        Self {
            from: traversal.start,
            inverse: traversal.inverse,
            forwards: [
                x.is_sign_positive(),
                y.is_sign_positive(),
                z.is_sign_positive(),
            ],
        }
    }

    /// Where along itself the ray enters each box; infinite where it passes by.
    #[inline(always)]
    fn entries(&self, node: &Node) -> F32x8 {
        let mut enters = [Vec4::ZERO; 2];
        let mut leaves = [Vec4::INFINITY; 2];
        for axis in 0..3 {
            let (shift, scale) = (-self.from[axis], self.inverse[axis]);
            let [near, far] = match self.forwards[axis] {
                true => node.sides(axis, shift, scale),
                false => node.sides_from_behind(axis, shift, scale),
            };
            for half in 0..2 {
                enters[half] = enters[half].max(near[half]);
                leaves[half] = leaves[half].min(far[half]);
            }
        }
        [entry(enters[0], leaves[0]), entry(enters[1], leaves[1])]
    }
}
