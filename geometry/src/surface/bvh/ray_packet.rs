//! Eight rays at once: those of neighbouring pixels mostly meet the same boxes.

use std::array;

use super::Frame;
use super::entry;
use super::lanes::Lanes;
use super::node::{EachSide, Sides};
use super::ray_traversal::RayTraversal;
use super::traverse::{Bvh8, SharedSearch};
use crate::Mesh;
use crate::surface::{Ray, SurfacePoint};

/// Rays in a packet.
pub(super) const RAYS: usize = 8;

/// Up to eight rays on their way through the tree.
pub(super) struct RayPacket {
    /// By axis, where each ray starts in the tree's frame, and one over its direction.
    from: [[f32; RAYS]; 3],
    inverse: [[f32; RAYS]; 3],
    heading: [Heading; 3],
    rays: [Option<RayTraversal>; RAYS],
}

/// Which way the rays of a packet run along an axis.
#[derive(Clone, Copy, PartialEq)]
enum Heading {
    Forwards,
    Backwards,
    Both,
}

impl RayPacket {
    /// Of up to eight rays; more are left out.
    #[inline(always)]
    pub(super) fn new(rays: &[Ray], frame: &Frame) -> Self {
        let mut packet = Self {
            from: [[0.0; RAYS]; 3],
            inverse: [[1.0; RAYS]; 3],
            heading: [Heading::Both; 3],
            rays: array::from_fn(|_| None),
        };
        for (lane, ray) in rays.iter().take(RAYS).enumerate() {
            let Some(traversal) = RayTraversal::new(ray, frame) else {
                continue;
            };
            for axis in 0..3 {
                packet.from[axis][lane] = traversal.start[axis];
                packet.inverse[axis][lane] = traversal.inverse[axis];
            }
            packet.rays[lane] = Some(traversal);
        }
        let traversals = || packet.rays.iter().flatten();
        packet.heading = [0, 1, 2].map(|axis| {
            let forwards = |traversal: &RayTraversal| traversal.inverse[axis].is_sign_positive();
            match (traversals().all(forwards), traversals().any(forwards)) {
                (true, _) => Heading::Forwards,
                (_, false) => Heading::Backwards,
                _ => Heading::Both,
            }
        });
        packet
    }

    /// What each ray meets first.
    #[inline(always)]
    pub(super) fn first_hits<L: Lanes>(
        self,
        lanes: L,
        mesh: &Mesh,
        boxes: &Bvh8,
    ) -> [Option<SurfacePoint>; RAYS] {
        let least = array::from_fn(|lane| match self.rays[lane] {
            Some(_) => f32::MAX,
            None => f32::NEG_INFINITY,
        });
        let mut search = PacketSearch {
            all: AllRays::of(&self),
            each: EachRay::of(lanes, &self),
            rays: self.rays,
            mesh,
        };
        boxes.search_together(lanes, least, &mut search);
        search.rays.map(|traversal| traversal?.end())
    }
}

/// A packet on its way.
struct PacketSearch<'a, L: Lanes> {
    all: AllRays,
    each: EachRay<L>,
    rays: [Option<RayTraversal>; RAYS],
    mesh: &'a Mesh,
}

impl<L: Lanes> SharedSearch<L> for PacketSearch<'_, L> {
    #[inline(always)]
    fn shared(&self, lanes: L, sides: &Sides<L>) -> L::Eight {
        self.all.entries(lanes, sides)
    }

    #[inline(always)]
    fn costs(&self, lanes: L, sides: &EachSide, slot: usize) -> L::Eight {
        self.each.entries(lanes, sides, slot)
    }

    #[inline(always)]
    fn visit(&mut self, facet: u32, lane: usize) -> Option<f32> {
        self.rays[lane].as_mut()?.meets(self.mesh, facet)
    }
}

/// What bounds all rays of a packet: for most boxes it tells at once that none of them enters.
struct AllRays {
    /// By axis, the least and the greatest start, and one over the least and the greatest
    /// direction.
    from: [(f32, f32); 3],
    inverse: [(f32, f32); 3],
    heading: [Heading; 3],
}

impl AllRays {
    #[inline(always)]
    fn of(packet: &RayPacket) -> Self {
        let there: [bool; RAYS] = array::from_fn(|lane| packet.rays[lane].is_some());
        let bounds = |values: &[f32; RAYS]| {
            let real = values.iter().zip(there).filter(|(_, there)| *there);
            real.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), (v, _)| {
                (low.min(*v), high.max(*v))
            })
        };
        Self {
            from: [0, 1, 2].map(|axis| bounds(&packet.from[axis])),
            inverse: [0, 1, 2].map(|axis| bounds(&packet.inverse[axis])),
            heading: packet.heading,
        }
    }

    /// No ray enters one of the boxes nearer than this; infinite where all pass by.
    ///
    /// Rounding keeps the order of numbers, so these are bounds of the very figures that
    /// [`EachRay::entries`] gives.
    #[inline(always)]
    fn entries<L: Lanes>(&self, lanes: L, sides: &Sides<L>) -> L::Eight {
        let mut enters = lanes.all(0.0);
        let mut leaves = lanes.all(f32::INFINITY);
        for axis in 0..3 {
            let (low, high) = (sides.low[axis], sides.high[axis]);
            let (least, greatest) = self.from[axis];
            // Off where a ray starts that has the shortest way there, and the longest.
            let (near, far) = match self.heading[axis] {
                Heading::Forwards => (
                    lanes.sub(low, lanes.all(greatest)),
                    lanes.sub(high, lanes.all(least)),
                ),
                Heading::Backwards => (
                    lanes.sub(high, lanes.all(least)),
                    lanes.sub(low, lanes.all(greatest)),
                ),
                Heading::Both => continue,
            };
            let (steep, flat) = self.inverse[axis];
            let (steep, flat) = (lanes.all(steep), lanes.all(flat));
            let near = lanes.min(lanes.mul(near, steep), lanes.mul(near, flat));
            let far = lanes.max(lanes.mul(far, steep), lanes.mul(far, flat));
            enters = lanes.max(enters, near);
            leaves = lanes.min(leaves, far);
        }
        entry(lanes, enters, leaves)
    }
}

/// Each ray of a packet.
struct EachRay<L: Lanes> {
    from: [L::Eight; 3],
    inverse: [L::Eight; 3],
    /// By axis, the side of a box that is met first, as [`EachSide::at`] counts them.
    first: [usize; 3],
    /// Whether the rays go both ways along an axis.
    mixed: bool,
}

impl<L: Lanes> EachRay<L> {
    #[inline(always)]
    fn of(lanes: L, packet: &RayPacket) -> Self {
        let first = |axis: usize| match packet.heading[axis] {
            Heading::Backwards => axis + 3,
            _ => axis,
        };
        Self {
            from: lanes.three(packet.from),
            inverse: lanes.three(packet.inverse),
            first: [first(0), first(1), first(2)],
            mixed: packet.heading.contains(&Heading::Both),
        }
    }

    /// Where along itself each ray enters a box; infinite where it passes by.
    #[inline(always)]
    fn entries(&self, lanes: L, sides: &EachSide, slot: usize) -> L::Eight {
        let mut enters = lanes.all(0.0);
        let mut leaves = lanes.all(f32::INFINITY);
        for axis in 0..3 {
            let first = lanes.all(sides.at(self.first[axis], slot));
            let second = lanes.all(sides.at(self.first[axis] + 3, slot));
            let (from, inverse) = (self.from[axis], self.inverse[axis]);
            let mut near = lanes.mul(lanes.sub(first, from), inverse);
            let mut far = lanes.mul(lanes.sub(second, from), inverse);
            if self.mixed {
                (near, far) = (lanes.min(near, far), lanes.max(near, far));
            }
            enters = lanes.max(enters, near);
            leaves = lanes.min(leaves, far);
        }
        entry(lanes, enters, leaves)
    }
}
