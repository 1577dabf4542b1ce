//! The bounding-volume tree over a mesh's facets.
//!
//! The boxes are in single precision, in a frame centred on the mesh and scaled to
//! `-1..=1`, snapped outwards to a grid coarser than single precision; so a box can only be
//! too large, and what it holds is then tested on the facet itself in double precision.

use std::cell::Cell;

use glam::DVec3;
use parry3d::bounding_volume::Aabb;
use parry3d::math::Vector;
use parry3d::partitioning::{Bvh, BvhBuildStrategy, BvhNode};
use parry3d::query::Ray;

use super::SurfacePoint;
use super::facet::{ShearedRay, nearest_on};
use crate::Mesh;

/// Steps of the grid that boxes are snapped to, per half extent of the mesh.
const GRID: f64 = (1u32 << 20) as f64;

/// Covers the rounding of single-precision bounds and keeps near ties in the race.
const LOOSE: f64 = 1.0 + 1e-6;

pub(super) struct Tree {
    bvh: Bvh,
    centre: DVec3,
    scale: f64,
    bounds: (DVec3, DVec3),
}

impl Tree {
    pub(super) fn new(mesh: &Mesh) -> Self {
        let bounds = mesh.bounds();
        let centre = bounds.0 * 0.5 + bounds.1 * 0.5;
        let half = (bounds.1 - centre).max_element();
        let scale = if half > 0.0 { 1.0 / half } else { 1.0 };
        let mut tree = Self {
            bvh: Bvh::new(),
            centre,
            scale,
            bounds,
        };
        let boxes = (0..mesh.triangles().len()).map(|facet| {
            let [a, b, c] = mesh.corners(facet);
            (facet, tree.snapped(a.min(b).min(c), a.max(b).max(c)))
        });
        tree.bvh = Bvh::from_iter(BvhBuildStrategy::Binned, boxes);
        tree
    }

    fn snapped(&self, lo: DVec3, hi: DVec3) -> Aabb {
        let lo = (self.inside(lo) * GRID).floor() - 1.0;
        let hi = (self.inside(hi) * GRID).ceil() + 1.0;
        Aabb::new(single(lo / GRID), single(hi / GRID))
    }

    fn inside(&self, point_mm: DVec3) -> DVec3 {
        (point_mm - self.centre) * self.scale
    }

    /// The nearest point of the skin that is no farther than `max_mm`.
    pub(super) fn nearest(&self, mesh: &Mesh, point: DVec3, max_mm: f64) -> Option<SurfacePoint> {
        let seen = single(self.inside(point));
        let to_cost = self.scale * self.scale;
        let best = Cell::new((max_mm * max_mm, None::<SurfacePoint>));
        self.bvh.find_best(
            loosened(max_mm * max_mm * to_cost),
            |node: &BvhNode, _| {
                let outside = (node.mins() - seen).max(seen - node.maxs());
                outside.max(Vector::ZERO).length_squared() * (1.0 - 1e-5)
            },
            |facet, _| {
                let q = nearest_on(mesh.corners(facet as usize), point);
                let distance = q.distance_squared(point);
                let (least, found) = best.get();
                let wins = distance < least
                    || (distance == least && found.is_none_or(|f| facet < f.facet));
                wins.then(|| {
                    let found = SurfacePoint { point_mm: q, facet };
                    best.set((distance, Some(found)));
                    loosened(distance * to_cost)
                })
            },
        );
        best.get().1
    }

    /// The first point of the skin along a ray.
    pub(super) fn first_hit(
        &self,
        mesh: &Mesh,
        from: DVec3,
        direction: DVec3,
    ) -> Option<SurfacePoint> {
        let direction = direction.try_normalize()?;
        // Begin at the mesh, so that single precision is spent on the mesh alone.
        let skip = self.way_to_bounds(from, direction);
        let start = self.inside(from + direction * skip);
        let ray = Ray::new(single(start), single(direction));
        let exact = ShearedRay::new(from, direction);
        let best = Cell::new((f64::INFINITY, u32::MAX));
        self.bvh.cast_ray(&ray, f32::MAX, |facet, _| {
            let t = exact.meets(mesh.corners(facet as usize))?;
            let (least, found) = best.get();
            (t < least || (t == least && facet < found)).then(|| {
                best.set((t, facet));
                loosened((t - skip) * self.scale)
            })
        });
        let (t, facet) = best.get();
        t.is_finite().then(|| SurfacePoint {
            point_mm: from + direction * t,
            facet,
        })
    }

    /// Length of the ray before it can come near the mesh.
    fn way_to_bounds(&self, from: DVec3, direction: DVec3) -> f64 {
        let (lo, hi) = self.bounds;
        let radius = (hi - lo).length() * 0.5 * LOOSE;
        ((self.centre - from).dot(direction) - radius).max(0.0)
    }

    /// Every facet whose box touches a box; a few more than that may come along.
    pub(super) fn facets_in_box(&self, lo: DVec3, hi: DVec3, mut each: impl FnMut(u32)) {
        let query = self.snapped(lo, hi);
        for facet in self.bvh.intersect_aabb(&query) {
            each(facet);
        }
    }
}

fn single(v: DVec3) -> Vector {
    Vector::new(v.x as f32, v.y as f32, v.z as f32)
}

/// A cost in the tree's frame, rounded up a little.
fn loosened(cost: f64) -> f32 {
    (cost * LOOSE + 1e-13) as f32
}
