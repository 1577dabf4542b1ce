//! Eight rays at once: those of neighbouring pixels mostly meet the same boxes.

use std::array;

use glam::Vec4;

use super::node::{F32x8, Sides};
use super::ray_traversal::RayTraversal;
use super::traverse::Bvh8;
use super::{Frame, entry};
use crate::Mesh;
use crate::surface::{Ray, SurfacePoint};

/// Rays in a packet.
pub(super) const RAYS: usize = 8;

/// Up to eight rays on their way through the tree.
pub(super) struct RayPacket {
    /// By axis, where each ray starts in the tree's frame, and one over its direction.
    from: [F32x8; 3],
    inverse: [F32x8; 3],
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
    pub(super) fn new(rays: &[Ray], frame: &Frame) -> Self {
        let mut packet = Self {
            from: [[Vec4::ZERO; 2]; 3],
            inverse: [[Vec4::ONE; 2]; 3],
            heading: [Heading::Both; 3],
            rays: array::from_fn(|_| None),
        };
        for (lane, ray) in rays.iter().take(RAYS).enumerate() {
            let Some(traversal) = RayTraversal::new(ray, frame) else {
                continue;
            };
            for axis in 0..3 {
                packet.from[axis][lane / 4][lane % 4] = traversal.start[axis];
                packet.inverse[axis][lane / 4][lane % 4] = traversal.inverse[axis];
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
    pub(super) fn first_hits(mut self, mesh: &Mesh, boxes: &Bvh8) -> [Option<SurfacePoint>; RAYS] {
        let mut least = [Vec4::NEG_INFINITY; 2];
        for (lane, traversal) in self.rays.iter().enumerate() {
            if traversal.is_some() {
                least[lane / 4][lane % 4] = f32::MAX;
            }
        }
        let (from, inverse, heading) = (self.from, self.inverse, self.heading);
        let entries = |sides: &Sides, slot: usize| entries(&from, &inverse, &heading, sides, slot);
        boxes.search_together(least, entries, |facet, lane| {
            self.rays[lane].as_mut()?.meets(mesh, facet)
        });
        self.rays.map(|traversal| traversal?.end())
    }
}

/// Where along itself each ray enters a box; infinite where it passes by.
#[inline(always)]
fn entries(
    from: &[F32x8; 3],
    inverse: &[F32x8; 3],
    heading: &[Heading; 3],
    sides: &Sides,
    slot: usize,
) -> F32x8 {
    let mut enters = [Vec4::ZERO; 2];
    let mut leaves = [Vec4::INFINITY; 2];
    for axis in 0..3 {
        let (low, high) = sides.of(axis, slot);
        let (first, second) = match heading[axis] {
            Heading::Backwards => (high, low),
            _ => (low, high),
        };
        let (first, second) = (Vec4::splat(first), Vec4::splat(second));
        for half in 0..2 {
            let mut near = (first - from[axis][half]) * inverse[axis][half];
            let mut far = (second - from[axis][half]) * inverse[axis][half];
            if heading[axis] == Heading::Both {
                (near, far) = (near.min(far), near.max(far));
            }
            enters[half] = enters[half].max(near);
            leaves[half] = leaves[half].min(far);
        }
    }
    [entry(enters[0], leaves[0]), entry(enters[1], leaves[1])]
}
