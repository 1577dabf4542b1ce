//! The bounding-volume tree over a mesh's facets.
//!
//! The boxes are in single precision, in a frame centred on the mesh and scaled to
//! `-1..=1`, padded by more than single precision can err; so a box can only be too large, and
//! what it holds is then tested on the facet itself in double precision.

mod beam;
mod build;
mod way;
mod wide;

use glam::{DVec3, Vec3, Vec4};

use self::beam::Beam;
use self::way::Way;
use self::wide::{Bounds, Each, Node, Wide};
use super::facet::nearest_on;
use super::{Ray, SurfacePoint};
use crate::Mesh;

/// How much wider than its facet a box is on every side, in the tree's frame. Places there are
/// no farther than 3 from each other and are worked out in some five roundings of 2⁻²⁴ each.
const PADDING: f32 = 2.5e-6;

/// Covers the rounding of single-precision bounds and keeps near ties in the race.
const LOOSE: f64 = 1.0 + 1e-6;

pub(super) struct Tree {
    boxes: Wide,
    frame: Frame,
}

impl Tree {
    pub(super) fn new(mesh: &Mesh) -> Self {
        let frame = Frame::of(mesh.bounds());
        let boxes = build::build(mesh.triangles().len() as u32, |facet| {
            let [a, b, c] = mesh.corners(facet as usize);
            frame.padded(a.min(b).min(c), a.max(b).max(c))
        });
        Self { boxes, frame }
    }

    /// The nearest point of the skin that is no farther than `max_mm`.
    pub(super) fn nearest(&self, mesh: &Mesh, point: DVec3, max_mm: f64) -> Option<SurfacePoint> {
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
    pub(super) fn first_hit(&self, mesh: &Mesh, ray: &Ray) -> Option<SurfacePoint> {
        let mut way = Way::new(ray, &self.frame)?;
        let single = SingleRay::new(&way);
        self.boxes.search(
            f32::MAX,
            |node| single.entries(node),
            |facet| way.meets(mesh, facet),
        );
        way.end()
    }

    /// The first point of the skin along each of many rays.
    pub(super) fn first_hits(&self, mesh: &Mesh, rays: &[Ray]) -> Vec<Option<SurfacePoint>> {
        let mut hits = Vec::with_capacity(rays.len());
        for rays in rays.chunks(beam::RAYS) {
            let beam = Beam::new(rays, &self.frame);
            let found = beam.first_hits(mesh, &self.boxes);
            hits.extend(found.into_iter().take(rays.len()));
        }
        hits
    }

    /// Every facet whose box touches a box; a few more than that may come along.
    pub(super) fn facets_in_box(&self, lo: DVec3, hi: DVec3, mut each: impl FnMut(u32)) {
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

/// From millimetres to the tree's frame.
struct Frame {
    centre: DVec3,
    scale: f64,
    /// Of a ball about the centre that holds the mesh, mm.
    radius_mm: f64,
}

impl Frame {
    fn of((low, high): (DVec3, DVec3)) -> Self {
        let centre = low * 0.5 + high * 0.5;
        let half = (high - centre).max_element();
        let scale = if half > 0.0 { 1.0 / half } else { 1.0 };
        Self {
            centre,
            scale,
            radius_mm: (high - low).length() * 0.5 * LOOSE,
        }
    }

    fn inside(&self, point_mm: DVec3) -> DVec3 {
        (point_mm - self.centre) * self.scale
    }

    /// Length of a ray before it can come near the mesh.
    fn way_to_mesh(&self, ray: &Ray) -> f64 {
        ((self.centre - ray.from_mm).dot(ray.direction) - self.radius_mm).max(0.0)
    }

    /// A box that holds another.
    fn padded(&self, lo: DVec3, hi: DVec3) -> Bounds {
        Bounds {
            low: self.inside(lo).as_vec3a() - PADDING,
            high: self.inside(hi).as_vec3a() + PADDING,
        }
    }
}

/// A ray in single precision, to be weighed against all boxes of a node at once.
struct SingleRay {
    from: Vec3,
    inverse: Vec3,
    forwards: [bool; 3],
}

impl SingleRay {
    fn new(way: &Way) -> Self {
        let [x, y, z] = way.inverse.to_array();
        Self {
            from: way.start,
            inverse: way.inverse,
            forwards: [
                x.is_sign_positive(),
                y.is_sign_positive(),
                z.is_sign_positive(),
            ],
        }
    }

    /// Where along itself the ray enters each box; infinite where it passes by.
    #[inline(always)]
    fn entries(&self, node: &Node) -> Each {
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

/// Where boxes are entered that are left there; infinite for those that are left before.
///
/// The far end is drawn out by a few roundings, so that none makes a ray miss (T. Ize,
/// "Robust BVH Ray Traversal", *Journal of Computer Graphics Techniques* 2(2), 2013,
/// from memory).
#[inline(always)]
fn entry(enters: Vec4, leaves: Vec4) -> Vec4 {
    let meets = enters.cmple(leaves * (1.0 + 4.0 * f32::EPSILON));
    Vec4::select(meets, enters, Vec4::INFINITY)
}

/// A cost in the tree's frame, rounded up a little.
fn loosened(cost: f64) -> f32 {
    (cost.max(0.0) * LOOSE + 1e-13) as f32
}
