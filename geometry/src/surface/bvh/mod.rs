//! The bounding-volume tree over a mesh's facets.
//!
//! The boxes are in single precision, in a frame centred on the mesh and scaled to
//! `-1..=1`, padded by more than single precision can err; so a box can only be too large, and
//! what it holds is then tested on the facet itself in double precision.

mod build;
mod lanes;
mod node;
mod queries;
mod ray_packet;
mod ray_traversal;
mod traverse;

use glam::DVec3;

use self::lanes::Lanes;
use self::node::Bounds;
use self::traverse::Bvh8;
use super::Ray;
use crate::Mesh;

/// How much wider than its facet a box is on every side, in the tree's frame. Places there are
/// no farther than 3 from each other and are worked out in some five roundings of 2⁻²⁴ each.
const PADDING: f32 = 2.5e-6;

/// Covers the rounding of single-precision bounds and keeps near ties in the race.
const LOOSE: f64 = 1.0 + 1e-6;

pub(super) struct Bvh {
    boxes: Bvh8,
    frame: Frame,
    /// The wide registers, if the processor has those.
    #[cfg(target_arch = "x86_64")]
    wide: Option<lanes::Wide>,
}

impl Bvh {
    pub(super) fn new(mesh: &Mesh) -> Self {
        let frame = Frame::of(mesh.bounds());
        let boxes = build::build(mesh.triangles().len() as u32, |facet| {
            let [a, b, c] = mesh.corners(facet as usize);
            frame.padded(a.min(b).min(c), a.max(b).max(c))
        });
        Self {
            boxes,
            frame,
            #[cfg(target_arch = "x86_64")]
            wide: lanes::wide(),
        }
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
    fn length_to_mesh(&self, ray: &Ray) -> f64 {
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

/// Where boxes are entered that are left there; infinite for those that are left before.
///
/// The far end is drawn out by a few roundings, so that none makes a ray miss (T. Ize,
/// "Robust BVH Ray Traversal", *Journal of Computer Graphics Techniques* 2(2), 2013,
/// from memory).
#[inline(always)]
fn entry<L: Lanes>(lanes: L, enters: L::Eight, leaves: L::Eight) -> L::Eight {
    let leaves = lanes.mul(leaves, lanes.all(1.0 + 4.0 * f32::EPSILON));
    lanes.if_no_greater(enters, leaves, enters)
}

/// A cost in the tree's frame, rounded up a little.
fn loosened(cost: f64) -> f32 {
    (cost.max(0.0) * LOOSE + 1e-13) as f32
}
