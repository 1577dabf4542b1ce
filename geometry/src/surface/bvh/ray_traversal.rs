//! One ray on its way through the tree.

use glam::Vec3;

use super::{Frame, loosened};
use crate::Mesh;
use crate::surface::facet::ShearedRay;
use crate::surface::{Ray, SurfacePoint};

/// One ray, and the nearest facet met so far.
pub(super) struct RayTraversal {
    ray: Ray,
    /// Where it comes near the mesh, in the tree's frame.
    pub(super) start: Vec3,
    /// One over its direction, large but finite where that is zero.
    pub(super) inverse: Vec3,
    exact: ShearedRay,
    /// The length left out before the mesh is near, mm, and the tree's frame per mm.
    skip: f64,
    scale: f64,
    t: f64,
    facet: u32,
}

impl RayTraversal {
    /// None if the ray has no direction or no start.
    #[inline]
    pub(super) fn new(ray: &Ray, frame: &Frame) -> Option<Self> {
        let ray = ray.normalized()?;
        // Begin at the mesh, so that single precision is spent on the mesh alone.
        let skip = frame.length_to_mesh(&ray);
        let start = frame.inside(ray.from_mm + ray.direction * skip).as_vec3();
        Some(Self {
            ray,
            start,
            inverse: inverse(ray.direction.as_vec3()),
            exact: ShearedRay::new(ray.from_mm, ray.direction),
            skip,
            scale: frame.scale,
            t: f64::INFINITY,
            facet: u32::MAX,
        })
    }

    /// The cost of the facet, if it is the nearest so far.
    #[inline(always)]
    pub(super) fn meets(&mut self, mesh: &Mesh, facet: u32) -> Option<f32> {
        let t = self.exact.meets(mesh.corners(facet as usize))?;
        (t < self.t || (t == self.t && facet < self.facet)).then(|| {
            (self.t, self.facet) = (t, facet);
            self.cost(t)
        })
    }

    /// The cost of what lies so far along the ray, mm.
    #[inline(always)]
    pub(super) fn cost(&self, along_mm: f64) -> f32 {
        loosened((along_mm - self.skip) * self.scale)
    }

    /// What the ray met first.
    pub(super) fn end(self) -> Option<SurfacePoint> {
        self.t.is_finite().then(|| SurfacePoint {
            point_mm: self.ray.from_mm + self.ray.direction * self.t,
            facet: self.facet,
        })
    }
}

fn inverse(direction: Vec3) -> Vec3 {
    let finite = |x: f32| match x.abs() < 1e-18 {
        true => 1e-18_f32.copysign(x),
        false => x,
    };
    let [x, y, z] = direction.to_array();
    Vec3::new(1.0 / finite(x), 1.0 / finite(y), 1.0 / finite(z))
}
