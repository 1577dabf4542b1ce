//! The part's skin under a bounding-volume tree: nearest points, rays, distances along it.

use std::sync::Arc;

use glam::DVec3;

use crate::Mesh;

/// A point of the skin and the facet it lies on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurfacePoint {
    /// Where, mm.
    pub point_mm: DVec3,
    /// Index of the facet.
    pub facet: u32,
}

/// A mesh with the tree that answers questions about points and rays.
#[derive(Clone)]
pub struct Surface {
    mesh: Arc<Mesh>,
}

impl Surface {
    /// Builds the tree.
    pub fn new(mesh: Arc<Mesh>) -> Self {
        Self { mesh }
    }

    /// The mesh beneath.
    pub fn mesh(&self) -> &Arc<Mesh> {
        &self.mesh
    }

    /// The point of the skin nearest to a point in space.
    pub fn nearest(&self, _point_mm: DVec3) -> SurfacePoint {
        todo!("parry3d")
    }

    /// The first point of the skin that a ray meets.
    pub fn first_hit(&self, _from_mm: DVec3, _direction: DVec3) -> Option<SurfacePoint> {
        todo!("parry3d")
    }
}
