//! Eight rays at once: those of neighbouring pixels mostly meet the same boxes.

use std::array;

use glam::{DVec3, Vec4};

use super::wide::{Each, Node, Wide};
use super::{Frame, loosened, single_inverse};
use crate::Mesh;
use crate::surface::facet::ShearedRay;
use crate::surface::{Ray, SurfacePoint};

/// Rays in a beam.
pub(super) const RAYS: usize = 8;

/// Up to eight rays on their way through the tree.
pub(super) struct Beam {
    /// By axis, where each ray starts in the tree's frame, and one over its direction.
    from: [Each; 3],
    inverse: [Each; 3],
    rays: [Option<Way>; RAYS],
}

/// One ray, and the nearest facet met so far.
struct Way {
    ray: Ray,
    exact: ShearedRay,
    /// The length left out before the mesh is near, mm.
    skip: f64,
    t: f64,
    facet: u32,
}

impl Beam {
    /// Of up to eight rays; more are left out.
    pub(super) fn new(rays: &[Ray], frame: &Frame) -> Self {
        let mut beam = Self {
            from: [[Vec4::ZERO; 2]; 3],
            inverse: [[Vec4::ONE; 2]; 3],
            rays: array::from_fn(|_| None),
        };
        for (lane, ray) in rays.iter().take(RAYS).enumerate() {
            let Some(ray) = ray.normalized() else {
                continue;
            };
            let skip = frame.way_to_mesh(&ray);
            let start = frame.inside(ray.from_mm + ray.direction * skip).as_vec3();
            let inverse = single_inverse(ray.direction.as_vec3());
            for axis in 0..3 {
                beam.from[axis][lane / 4][lane % 4] = start[axis];
                beam.inverse[axis][lane / 4][lane % 4] = inverse[axis];
            }
            beam.rays[lane] = Some(Way {
                ray,
                exact: ShearedRay::new(ray.from_mm, ray.direction),
                skip,
                t: f64::INFINITY,
                facet: u32::MAX,
            });
        }
        beam
    }

    /// What each ray meets first.
    pub(super) fn first_hits(
        mut self,
        mesh: &Mesh,
        boxes: &Wide,
        scale: f64,
    ) -> [Option<SurfacePoint>; RAYS] {
        let mut least = [Vec4::NEG_INFINITY; 2];
        for (lane, way) in self.rays.iter().enumerate() {
            if way.is_some() {
                least[lane / 4][lane % 4] = f32::MAX;
            }
        }
        let (from, inverse) = (self.from, self.inverse);
        let entries = |node: &Node, slot: usize| entries(&from, &inverse, node, slot);
        boxes.search_together(least, entries, |facet, lane| {
            let way = self.rays[lane].as_mut()?;
            way.meets(mesh.corners(facet as usize), facet, scale)
        });
        self.rays.map(|way| way?.end())
    }
}

impl Way {
    /// The cost of the facet, if it is the nearest so far.
    #[inline]
    fn meets(&mut self, corners: [DVec3; 3], facet: u32, scale: f64) -> Option<f32> {
        let t = self.exact.meets(corners)?;
        (t < self.t || (t == self.t && facet < self.facet)).then(|| {
            (self.t, self.facet) = (t, facet);
            loosened((t - self.skip) * scale)
        })
    }

    fn end(self) -> Option<SurfacePoint> {
        self.t.is_finite().then(|| SurfacePoint {
            point_mm: self.ray.from_mm + self.ray.direction * self.t,
            facet: self.facet,
        })
    }
}

/// Where along itself each ray enters a box; infinite where it passes by.
#[inline(always)]
fn entries(from: &[Each; 3], inverse: &[Each; 3], node: &Node, slot: usize) -> Each {
    let mut enters = [Vec4::ZERO; 2];
    let mut leaves = [Vec4::INFINITY; 2];
    for axis in 0..3 {
        let (low, high) = node.side(axis, slot);
        let (low, high) = (Vec4::splat(low), Vec4::splat(high));
        for half in 0..2 {
            let one = (low - from[axis][half]) * inverse[axis][half];
            let other = (high - from[axis][half]) * inverse[axis][half];
            enters[half] = enters[half].max(one.min(other));
            leaves[half] = leaves[half].min(one.max(other));
        }
    }
    let entry = |half: usize| {
        let meets = enters[half].cmple(leaves[half] * (1.0 + 4.0 * f32::EPSILON));
        Vec4::select(meets, enters[half], Vec4::INFINITY)
    };
    [entry(0), entry(1)]
}
