//! The bounding-volume tree over a mesh's facets.
//!
//! The boxes are in single precision, in a frame centred on the mesh and scaled to
//! `-1..=1`, snapped outwards to a grid coarser than single precision; so a box can only be
//! too large, and what it holds is then tested on the facet itself in double precision.

mod wide;

use glam::{DVec3, Vec3, Vec4};
use parry3d::bounding_volume::Aabb;
use parry3d::math::Vector;
use parry3d::partitioning::{Bvh, BvhBuildStrategy};

use self::wide::{Boxes, Wide};
use super::SurfacePoint;
use super::facet::{ShearedRay, nearest_on};
use crate::Mesh;

/// Steps of the grid that boxes are snapped to, per half extent of the mesh.
const GRID: f64 = (1u32 << 20) as f64;

/// Covers the rounding of single-precision bounds and keeps near ties in the race.
const LOOSE: f64 = 1.0 + 1e-6;

pub(super) struct Tree {
    boxes: Wide,
    frame: Frame,
    bounds: (DVec3, DVec3),
}

impl Tree {
    pub(super) fn new(mesh: &Mesh) -> Self {
        let bounds = mesh.bounds();
        let frame = Frame::of(bounds);
        let boxes = (0..mesh.triangles().len()).map(|facet| {
            let [a, b, c] = mesh.corners(facet);
            let (low, high) = frame.snapped(a.min(b).min(c), a.max(b).max(c));
            (facet, Aabb::new(to_parry(low), to_parry(high)))
        });
        let binary = Bvh::from_iter(BvhBuildStrategy::Binned, boxes);
        Self {
            boxes: Wide::folded(&binary),
            frame,
            bounds,
        }
    }

    /// The nearest point of the skin that is no farther than `max_mm`.
    pub(super) fn nearest(&self, mesh: &Mesh, point: DVec3, max_mm: f64) -> Option<SurfacePoint> {
        // A box that holds nothing has no place that could be compared with no place.
        if point.is_nan() {
            return None;
        }
        let seen = self.frame.inside(point).as_vec3();
        let seen = [seen.x, seen.y, seen.z].map(Vec4::splat);
        let to_cost = self.frame.scale * self.frame.scale;
        let mut best = (max_mm * max_mm, None::<SurfacePoint>);
        let distances = |boxes: &Boxes| {
            let off = |axis: usize| {
                let outside = (boxes.low[axis] - seen[axis]).max(seen[axis] - boxes.high[axis]);
                let outside = outside.max(Vec4::ZERO);
                outside * outside
            };
            (off(0) + off(1) + off(2)) * (1.0 - 1e-5)
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
    pub(super) fn first_hit(
        &self,
        mesh: &Mesh,
        from: DVec3,
        direction: DVec3,
    ) -> Option<SurfacePoint> {
        let direction = direction.try_normalize().filter(|_| from.is_finite())?;
        // Begin at the mesh, so that single precision is spent on the mesh alone.
        let skip = self.way_to_bounds(from, direction);
        let start = self.frame.inside(from + direction * skip).as_vec3();
        let ray = SingleRay::new(start, direction.as_vec3());
        let exact = ShearedRay::new(from, direction);
        let mut best = (f64::INFINITY, u32::MAX);
        self.boxes.search(
            f32::MAX,
            |boxes| ray.entries(boxes),
            |facet| {
                let t = exact.meets(mesh.corners(facet as usize))?;
                (t < best.0 || (t == best.0 && facet < best.1)).then(|| {
                    best = (t, facet);
                    loosened((t - skip) * self.frame.scale)
                })
            },
        );
        let (t, facet) = best;
        t.is_finite().then(|| SurfacePoint {
            point_mm: from + direction * t,
            facet,
        })
    }

    /// Length of the ray before it can come near the mesh.
    fn way_to_bounds(&self, from: DVec3, direction: DVec3) -> f64 {
        let (lo, hi) = self.bounds;
        let radius = (hi - lo).length() * 0.5 * LOOSE;
        ((self.frame.centre - from).dot(direction) - radius).max(0.0)
    }

    /// Every facet whose box touches a box; a few more than that may come along.
    pub(super) fn facets_in_box(&self, lo: DVec3, hi: DVec3, mut each: impl FnMut(u32)) {
        let (low, high) = self.frame.snapped(lo, hi);
        let touching = |boxes: &Boxes| {
            let apart = |axis: usize| {
                let before = boxes.low[axis] - Vec4::splat(high[axis]);
                before.max(Vec4::splat(low[axis]) - boxes.high[axis])
            };
            let apart = apart(0).max(apart(1)).max(apart(2));
            Vec4::select(apart.cmple(Vec4::ZERO), Vec4::ZERO, Vec4::INFINITY)
        };
        self.boxes.search(f32::MAX, touching, |facet| {
            each(facet);
            None
        });
    }
}

/// From millimetres to the tree's frame.
struct Frame {
    centre: DVec3,
    scale: f64,
}

impl Frame {
    fn of((low, high): (DVec3, DVec3)) -> Self {
        let centre = low * 0.5 + high * 0.5;
        let half = (high - centre).max_element();
        let scale = if half > 0.0 { 1.0 / half } else { 1.0 };
        Self { centre, scale }
    }

    fn inside(&self, point_mm: DVec3) -> DVec3 {
        (point_mm - self.centre) * self.scale
    }

    /// A box that holds another, on the grid.
    fn snapped(&self, lo: DVec3, hi: DVec3) -> (Vec3, Vec3) {
        let lo = (self.inside(lo) * GRID).floor() - 1.0;
        let hi = (self.inside(hi) * GRID).ceil() + 1.0;
        ((lo / GRID).as_vec3(), (hi / GRID).as_vec3())
    }
}

/// A ray in single precision, to be weighed against four boxes at once.
struct SingleRay {
    from: [Vec4; 3],
    /// One over the direction, large but finite where that is zero.
    inverse: [Vec4; 3],
    forwards: [bool; 3],
}

impl SingleRay {
    fn new(from: Vec3, direction: Vec3) -> Self {
        let finite = |x: f32| {
            if x.abs() < 1e-18 {
                1e-18_f32.copysign(x)
            } else {
                x
            }
        };
        let axes = [direction.x, direction.y, direction.z];
        Self {
            from: [from.x, from.y, from.z].map(Vec4::splat),
            inverse: axes.map(|x| Vec4::splat(1.0 / finite(x))),
            forwards: axes.map(|x| x.is_sign_positive()),
        }
    }

    /// Where along itself the ray enters each box; infinite where it passes by.
    ///
    /// The far end is drawn out by a few roundings, so that none makes a ray miss (T. Ize,
    /// "Robust BVH Ray Traversal", *Journal of Computer Graphics Techniques* 2(2), 2013,
    /// from memory).
    #[inline]
    fn entries(&self, boxes: &Boxes) -> Vec4 {
        let crossing =
            |side: &[Vec4; 3], axis: usize| (side[axis] - self.from[axis]) * self.inverse[axis];
        let (mut enters, mut leaves) = (Vec4::ZERO, Vec4::INFINITY);
        for axis in 0..3 {
            let (near, far) = match self.forwards[axis] {
                true => (&boxes.low, &boxes.high),
                false => (&boxes.high, &boxes.low),
            };
            enters = enters.max(crossing(near, axis));
            leaves = leaves.min(crossing(far, axis));
        }
        let meets = enters.cmple(leaves * (1.0 + 4.0 * f32::EPSILON));
        Vec4::select(meets, enters, Vec4::INFINITY)
    }
}

fn to_parry(v: Vec3) -> Vector {
    Vector::new(v.x, v.y, v.z)
}

/// A cost in the tree's frame, rounded up a little.
fn loosened(cost: f64) -> f32 {
    (cost * LOOSE + 1e-13) as f32
}
