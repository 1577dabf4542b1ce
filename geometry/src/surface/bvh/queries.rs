//! Questions to the tree: nearest points, first hits of rays, facets in a box.

use std::cell::Cell;

use glam::{DVec3, Vec3};

use super::lanes::{Lanes, Narrow};
use super::node::{Bounds, Node};
use super::ray_packet::{RAYS, RayPacket};
use super::ray_traversal::RayTraversal;
use super::traverse::Search;
use super::{Bvh, entry, loosened};
use crate::Mesh;
use crate::surface::facet::nearest_on;
use crate::surface::{Ray, SurfacePoint};

/// Calls a question's method with the widest registers that there are.
macro_rules! widest {
    ($tree:ident, $lanes:ident => $work:expr) => {{
        #[cfg(target_arch = "x86_64")]
        if let Some($lanes) = $tree.wide {
            return $lanes.run(
                #[inline(always)]
                || $work,
            );
        }
        let $lanes = Narrow;
        $work
    }};
}

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
        widest!(self, lanes => self.nearest_by(lanes, mesh, point, max_mm))
    }

    #[inline(always)]
    fn nearest_by<L: Lanes>(
        &self,
        lanes: L,
        mesh: &Mesh,
        point: DVec3,
        max_mm: f64,
    ) -> Option<SurfacePoint> {
        let to_cost = self.frame.scale * self.frame.scale;
        let mut search = Nearest {
            mesh,
            point,
            seen: self.frame.inside(point).as_vec3(),
            to_cost,
            best: (max_mm * max_mm, None),
        };
        let most = loosened(search.best.0 * to_cost);
        self.boxes.search(lanes, most, &mut search);
        search.best.1
    }

    /// The least and the most, mm, that the skin can be away from a point, if the least is no more
    /// than `max_mm`: both are its distance where the skin is near, and the most is up to [`BETWEEN`] more
    /// than the least where many facets are far.
    pub(in crate::surface) fn distance_between(
        &self,
        mesh: &Mesh,
        point: DVec3,
        max_mm: f64,
    ) -> Option<[f64; 2]> {
        if point.is_nan() {
            return None;
        }
        widest!(self, lanes => self.distance_between_by(lanes, mesh, point, max_mm))
    }

    #[inline(always)]
    fn distance_between_by<L: Lanes>(
        &self,
        lanes: L,
        mesh: &Mesh,
        point: DVec3,
        max_mm: f64,
    ) -> Option<[f64; 2]> {
        let to_cost = self.frame.scale * self.frame.scale;
        let most = loosened(max_mm * max_mm * to_cost);
        let mut search = Between {
            mesh,
            point,
            seen: self.frame.inside(point).as_vec3(),
            to_cost,
            found: Cell::new([f32::INFINITY; 2]),
        };
        self.boxes.search(lanes, most, &mut search);
        let found = search.found.get();
        let [least, most] = found.map(|cost| (f64::from(cost) / to_cost).sqrt());
        // Boxes that are farther than that were not looked at.
        (least <= max_mm).then_some([least, most])
    }

    /// The first point of the skin along a ray; boxes farther than `max_mm` are left out.
    pub(in crate::surface) fn first_hit(
        &self,
        mesh: &Mesh,
        ray: &Ray,
        max_mm: f64,
    ) -> Option<SurfacePoint> {
        widest!(self, lanes => self.first_hit_by(lanes, mesh, ray, max_mm))
    }

    #[inline(always)]
    fn first_hit_by<L: Lanes>(
        &self,
        lanes: L,
        mesh: &Mesh,
        ray: &Ray,
        max_mm: f64,
    ) -> Option<SurfacePoint> {
        let traversal = RayTraversal::new(ray, &self.frame)?;
        let most = traversal.cost(max_mm);
        let mut search = FirstHit { mesh, traversal };
        self.boxes.search(lanes, most, &mut search);
        search.traversal.end()
    }

    /// The first point of the skin along each of many rays.
    pub(in crate::surface) fn first_hits(
        &self,
        mesh: &Mesh,
        rays: &[Ray],
    ) -> Vec<Option<SurfacePoint>> {
        widest!(self, lanes => self.first_hits_by(lanes, mesh, rays))
    }

    #[inline(always)]
    fn first_hits_by<L: Lanes>(
        &self,
        lanes: L,
        mesh: &Mesh,
        rays: &[Ray],
    ) -> Vec<Option<SurfacePoint>> {
        let mut hits = Vec::with_capacity(rays.len());
        for rays in rays.chunks(RAYS) {
            let packet = RayPacket::new(rays, &self.frame);
            let found = packet.first_hits(lanes, mesh, &self.boxes);
            hits.extend(found.into_iter().take(rays.len()));
        }
        hits
    }

    /// Every facet whose box touches a box; a few more than that may come along.
    pub(in crate::surface) fn facets_in_box(&self, lo: DVec3, hi: DVec3, each: impl FnMut(u32)) {
        widest!(self, lanes => self.facets_in_box_by(lanes, lo, hi, each))
    }

    #[inline(always)]
    fn facets_in_box_by<L: Lanes>(&self, lanes: L, lo: DVec3, hi: DVec3, each: impl FnMut(u32)) {
        let bounds = self.frame.padded(lo, hi);
        let mut search = Touching { bounds, each };
        self.boxes.search(lanes, f32::MAX, &mut search);
    }
}

/// Looks for the nearest point of the skin.
struct Nearest<'a> {
    mesh: &'a Mesh,
    point: DVec3,
    /// The point in the tree's frame.
    seen: Vec3,
    /// From mm² to the frame.
    to_cost: f64,
    /// The least distance so far, mm², and where that is.
    best: (f64, Option<SurfacePoint>),
}

impl<L: Lanes> Search<L> for Nearest<'_> {
    #[inline(always)]
    fn costs(&self, lanes: L, node: &Node) -> L::Eight {
        let nothing = lanes.all(0.0);
        let mut sum = nothing;
        for axis in 0..3 {
            let [low, high] = node.sides(lanes, axis, -self.seen[axis], 1.0);
            let behind = lanes.sub(nothing, high);
            let off = lanes.max(lanes.max(low, behind), nothing);
            sum = lanes.add(sum, lanes.mul(off, off));
        }
        lanes.mul(sum, lanes.all(1.0 - 1e-5))
    }

    #[inline(always)]
    fn visit(&mut self, facet: u32) -> Option<f32> {
        let q = nearest_on(self.mesh.corners(facet as usize), self.point);
        let distance = q.distance_squared(self.point);
        let (least, found) = self.best;
        let wins = distance < least || (distance == least && found.is_none_or(|f| facet < f.facet));
        if !wins {
            return None;
        }
        self.best = (distance, Some(SurfacePoint { point_mm: q, facet }));
        Some(loosened(distance * self.to_cost))
    }
}

/// A box is no larger than this part of its distance where that is told by the box alone.
const BETWEEN: f64 = 0.25;
/// What is in such a box costs no more than this times what the box does.
const FARTHER: f32 = ((1.0 + BETWEEN + 1e-5) * (1.0 + BETWEEN + 1e-5)) as f32;
/// More than what is lost where a cost is told in single precision.
const ROUNDING: f64 = 1e-6;

/// Looks how far the skin is, and opens no box that is small and far.
struct Between<'a> {
    mesh: &'a Mesh,
    point: DVec3,
    /// The point in the tree's frame.
    seen: Vec3,
    /// From mm² to the frame.
    to_cost: f64,
    /// The least and the most that it can cost, as far as was looked.
    found: Cell<[f32; 2]>,
}

impl Between<'_> {
    #[inline(always)]
    fn find(&self, least: f32, most: f32) {
        let [a, b] = self.found.get();
        self.found.set([a.min(least), b.min(most)]);
    }
}

impl<L: Lanes> Search<L> for Between<'_> {
    #[inline(always)]
    fn costs(&self, lanes: L, node: &Node) -> L::Eight {
        let nothing = lanes.all(0.0);
        let (mut sum, mut size) = (nothing, nothing);
        for axis in 0..3 {
            let [low, high] = node.sides(lanes, axis, -self.seen[axis], 1.0);
            let behind = lanes.sub(nothing, high);
            let off = lanes.max(lanes.max(low, behind), nothing);
            sum = lanes.add(sum, lanes.mul(off, off));
            let wide = lanes.sub(high, low);
            size = lanes.add(size, lanes.mul(wide, wide));
        }
        let sum = lanes.mul(sum, lanes.all(1.0 - 1e-5));
        let allowed = lanes.mul(sum, lanes.all((BETWEEN * BETWEEN) as f32));
        let small = lanes.no_greater(size, allowed) & !(u32::MAX << node.count);
        if small != 0 {
            let each = lanes.each(sum);
            let mut left = small;
            while left != 0 {
                let cost = each[left.trailing_zeros() as usize % 8];
                left &= left - 1;
                self.find(cost, cost * FARTHER);
            }
        }
        // What may hold something nearer, and is not told by its box alone.
        let [least, _] = self.found.get();
        let large = lanes.if_no_greater(allowed, size, sum);
        lanes.if_no_greater(sum, lanes.all(least), large)
    }

    #[inline(always)]
    fn visit(&mut self, facet: u32) -> Option<f32> {
        let q = nearest_on(self.mesh.corners(facet as usize), self.point);
        let cost = q.distance_squared(self.point) * self.to_cost;
        let (least, most) = ((cost * (1.0 - ROUNDING)) as f32, loosened(cost));
        let [least_so_far, _] = self.found.get();
        if least >= least_so_far {
            return None;
        }
        self.find(least, most);
        Some(most)
    }
}

/// Looks for all facets whose boxes touch a box.
struct Touching<F> {
    bounds: Bounds,
    each: F,
}

impl<L: Lanes, F: FnMut(u32)> Search<L> for Touching<F> {
    #[inline(always)]
    fn costs(&self, lanes: L, node: &Node) -> L::Eight {
        let Bounds { low, high } = self.bounds;
        let mut apart = lanes.all(f32::NEG_INFINITY);
        for axis in 0..3 {
            let [begin, end] = node.sides(lanes, axis, 0.0, 1.0);
            let before = lanes.sub(begin, lanes.all(high[axis]));
            let behind = lanes.sub(lanes.all(low[axis]), end);
            apart = lanes.max(lanes.max(apart, before), behind);
        }
        let nothing = lanes.all(0.0);
        lanes.if_no_greater(apart, nothing, nothing)
    }

    #[inline(always)]
    fn visit(&mut self, facet: u32) -> Option<f32> {
        (self.each)(facet);
        None
    }
}

/// Looks for what one ray meets first.
struct FirstHit<'a> {
    mesh: &'a Mesh,
    traversal: RayTraversal,
}

impl<L: Lanes> Search<L> for FirstHit<'_> {
    /// Where along itself the ray enters each box; infinite where it passes by.
    #[inline(always)]
    fn costs(&self, lanes: L, node: &Node) -> L::Eight {
        let mut enters = lanes.all(0.0);
        let mut leaves = lanes.all(f32::INFINITY);
        for axis in 0..3 {
            let (shift, scale) = (-self.traversal.start[axis], self.traversal.inverse[axis]);
            let [near, far] = node.sides(lanes, axis, shift, scale);
            enters = lanes.max(enters, near);
            leaves = lanes.min(leaves, far);
        }
        entry(lanes, enters, leaves)
    }

    #[inline(always)]
    fn visit(&mut self, facet: u32) -> Option<f32> {
        self.traversal.meets(self.mesh, facet)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solids;

    fn place(range: f64) -> impl Strategy<Value = DVec3> {
        prop::array::uniform3(-range..range).prop_map(DVec3::from)
    }

    proptest! {
        /// Whichever registers a machine has, its answers are the same to the last digit.
        #[test]
        fn all_registers_find_the_same(
            from in prop::collection::vec(place(3.0), 8),
            to in place(1.0),
            spread in prop::sample::select(vec![0.0, 0.01, 1.0]),
            sections in 3..60u32,
        ) {
            let mesh = solids::cylinder(1.0, 1.5, sections).unwrap();
            let tree = Bvh::new(&mesh);
            // All from one place, from places near to each other, or from all around.
            let rays: Vec<Ray> = from
                .iter()
                .map(|off| {
                    let from_mm = from[0].lerp(*off, spread);
                    Ray { from_mm, direction: to - from_mm }
                })
                .collect();
            let narrow = tree.first_hits_by(Narrow, &mesh, &rays);
            prop_assert_eq!(&narrow, &tree.first_hits(&mesh, &rays));
            for (ray, hit) in rays.iter().zip(narrow) {
                prop_assert_eq!(hit, tree.first_hit_by(Narrow, &mesh, ray, f64::INFINITY));
                prop_assert_eq!(hit, tree.first_hit(&mesh, ray, f64::INFINITY));
                // No nearer limit than that hides it.
                let off = hit.map_or(1.0, |hit| hit.point_mm.distance(ray.from_mm));
                prop_assert_eq!(hit, tree.first_hit(&mesh, ray, off));
            }
            for point in from {
                let narrow = tree.nearest_by(Narrow, &mesh, point, 2.0);
                prop_assert_eq!(narrow, tree.nearest(&mesh, point, 2.0));
                let between = tree.distance_between_by(Narrow, &mesh, point, 2.0);
                prop_assert_eq!(between, tree.distance_between(&mesh, point, 2.0));
                prop_assert!(narrow.is_none() || between.is_some());
                let nearest = tree.nearest(&mesh, point, f64::INFINITY).expect("some skin");
                if let Some([least, most]) = between {
                    let off = nearest.point_mm.distance(point);
                    let room = 1e-5 * off + 1e-6;
                    prop_assert!(least <= off + 1e-9 && off <= most + room, "{} {} {}", least, off, most);
                    prop_assert!(most <= least * (1.0 + BETWEEN) + room, "{} {}", least, most);
                }
                let (low, high) = (point.min(to), point.max(to));
                let (mut some, mut others) = (Vec::new(), Vec::new());
                tree.facets_in_box_by(Narrow, low, high, |facet| some.push(facet));
                tree.facets_in_box(low, high, |facet| others.push(facet));
                prop_assert_eq!(some, others);
            }
        }
    }
}
