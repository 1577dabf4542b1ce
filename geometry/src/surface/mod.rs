//! The part's skin under a bounding-volume tree: nearest points, rays, distances along it.
//!
//! [`Surface`] answers questions about points and rays. [`refine`](fn@refine) cuts the skin
//! along the edges of areas, to show them and to measure them, and [`LevelCut`] does so where
//! areas end on level lines. Beneath, for masks and
//! fields: facets cut in halves without cracks (`bisection`), and distances along the skin
//! from what a stroke draws on it (`geodesic`).

use std::sync::{Arc, OnceLock};

use glam::DVec3;

use crate::Mesh;
#[cfg(doc)]
use crate::inspect::sealed_facets;
use crate::place::bed_face;
use seen::Seen;
pub(crate) use visited::Visited;

mod across;
mod adjacency;
pub(crate) mod bisection;
mod bvh;
mod clusters;
pub(crate) mod facet;
pub(crate) mod geodesic;
mod lattice;
pub mod level;
mod ray;
pub mod refine;
mod refined;
mod seen;
mod slice;
mod stitch;
mod visited;

pub use adjacency::Adjacency;
pub use clusters::{Clustered, clustered};
pub use level::{LevelCut, rising};
pub use ray::Ray;
pub use refine::{ClassArea, Classes, Refined, refine, refine_some};
pub use slice::by_planes as cut_by_planes;
pub use stitch::stitch;

/// A point of the skin and the facet it lies on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurfacePoint {
    /// Where, mm.
    pub point_mm: DVec3,
    /// Index of the facet.
    pub facet: u32,
}

/// A mesh with the tree that answers questions about points and rays.
///
/// A clone shares the mesh and the tree.
///
/// ```
/// use std::sync::Arc;
/// use geometry::{DVec3, Mesh, Surface};
///
/// let corners = [(0.0, 0.0), (10.0, 0.0), (0.0, 10.0)];
/// let vertices = corners.map(|(x, y)| DVec3::new(x, y, 2.0)).to_vec();
/// let surface = Surface::new(Arc::new(Mesh::new(vertices, vec![[0, 1, 2]])?));
///
/// let nearest = surface.nearest(DVec3::new(1.0, 1.0, 7.0));
/// assert_eq!(nearest.point_mm, DVec3::new(1.0, 1.0, 2.0));
/// let hit = surface.first_hit(DVec3::new(2.0, 3.0, 50.0), DVec3::NEG_Z);
/// assert_eq!(hit.map(|h| h.point_mm), Some(DVec3::new(2.0, 3.0, 2.0)));
/// # Ok::<(), geometry::mesh::MeshError>(())
/// ```
#[derive(Clone)]
pub struct Surface(Arc<Parts>);

struct Parts {
    mesh: Arc<Mesh>,
    /// Corners of the box around it, mm.
    bounds_mm: (DVec3, DVec3),
    tree: bvh::Bvh,
    adjacency: OnceLock<Adjacency>,
    shells: OnceLock<Vec<u32>>,
    seen: OnceLock<Option<Seen>>,
    unseen: OnceLock<Vec<bool>>,
}

impl Surface {
    /// Builds the tree.
    pub fn new(mesh: Arc<Mesh>) -> Self {
        let tree = bvh::Bvh::new(&mesh);
        Self(Arc::new(Parts {
            bounds_mm: mesh.bounds(),
            mesh,
            tree,
            adjacency: OnceLock::new(),
            shells: OnceLock::new(),
            seen: OnceLock::new(),
            unseen: OnceLock::new(),
        }))
    }

    /// The mesh beneath.
    pub fn mesh(&self) -> &Arc<Mesh> {
        &self.0.mesh
    }

    /// Least and greatest corner of the box around the part, mm, as [`Mesh::bounds`] finds them,
    /// but at once.
    pub fn bounds_mm(&self) -> (DVec3, DVec3) {
        self.0.bounds_mm
    }

    /// The point of the skin nearest to a point in space. Of equally near facets the one
    /// with the lowest index is named.
    pub fn nearest(&self, point_mm: DVec3) -> SurfacePoint {
        self.nearest_within(point_mm, f64::INFINITY)
            .unwrap_or_else(|| self.any_point())
    }

    /// As [`Surface::nearest`], but none if the skin is farther than `max_mm`; the smaller
    /// that is, the faster.
    pub fn nearest_within(&self, point_mm: DVec3, max_mm: f64) -> Option<SurfacePoint> {
        self.0.tree.nearest(&self.0.mesh, point_mm, max_mm)
    }

    /// Whether a point is no farther from a facet than `within_mm`.
    ///
    /// # Panics
    /// If there is no such facet, as slice indexing does.
    pub fn is_on_facet(&self, facet: u32, point_mm: DVec3, within_mm: f64) -> bool {
        let corners = self.0.mesh.corners(facet as usize);
        facet::nearest_on(corners, point_mm).distance(point_mm) <= within_mm
    }

    /// The first point of the skin that a ray meets, from either side of a facet.
    /// `direction` may have any length; none if it is zero.
    pub fn first_hit(&self, from_mm: DVec3, direction: DVec3) -> Option<SurfacePoint> {
        self.first_hit_within(from_mm, direction, f64::INFINITY)
    }

    /// As [`Surface::first_hit`], but what lies farther along the ray than `max_mm` need not be
    /// found; the smaller that is, the faster.
    pub fn first_hit_within(
        &self,
        from_mm: DVec3,
        direction: DVec3,
        max_mm: f64,
    ) -> Option<SurfacePoint> {
        let ray = Ray { from_mm, direction };
        self.0.tree.first_hit(&self.0.mesh, &ray, max_mm)
    }

    /// As [`Surface::first_hit`], for many rays. Rays that follow each other are looked for
    /// together, which is the faster the nearer to each other they run.
    pub fn first_hits(&self, rays: &[Ray]) -> Vec<Option<SurfacePoint>> {
        self.0.tree.first_hits(&self.0.mesh, rays)
    }

    /// Unit normal of a facet, pointing outwards if the mesh's facets do; zero for a facet
    /// without area.
    ///
    /// # Panics
    /// If there is no such facet, as slice indexing does.
    pub fn normal(&self, facet: u32) -> DVec3 {
        self.0.mesh.area_vector(facet as usize).normalize_or_zero()
    }

    /// Which facets share edges; worked out when first asked for.
    pub fn adjacency(&self) -> &Adjacency {
        self.0.adjacency.get_or_init(|| {
            let mesh = &self.0.mesh;
            Adjacency::new(mesh.vertices().len(), mesh.triangles())
        })
    }

    /// For each facet the number of the shell it belongs to: the facets that can be reached
    /// over shared edges. Worked out when first asked for.
    pub fn shells(&self) -> &[u32] {
        self.0.shells.get_or_init(|| self.adjacency().shells())
    }

    /// For each facet whether no eye ever sees it, as [`sealed_facets`] tells; empty where all
    /// are seen. Worked out when first asked for.
    pub fn sealed(&self) -> &[bool] {
        self.seen().map_or(&[], |seen| &seen.sealed)
    }

    /// Tells that the part is known to be one connected shell, so that none of it is sealed; it is
    /// not looked for then. Without effect where that was found out already.
    pub fn has_one_shell(&self) {
        // Whoever was first has said the same.
        let _ = self.0.seen.set(None);
    }

    /// Whether no eye ever sees a facet: it bounds a sealed cavity, or lies in one.
    pub fn is_sealed(&self, facet: u32) -> bool {
        self.sealed()
            .get(facet as usize)
            .is_some_and(|&sealed| sealed)
    }

    /// Whether a facet counts as no visible area: it is sealed, or is of the face that stands on
    /// the bed.
    pub fn is_unseen(&self, facet: u32) -> bool {
        self.unseen()
            .get(facet as usize)
            .is_some_and(|&unseen| unseen)
    }

    /// For each facet whether it counts as no visible area, as [`Surface::is_unseen`] tells. Worked
    /// out when first asked for.
    pub fn unseen(&self) -> &[bool] {
        self.0.unseen.get_or_init(|| {
            let on_bed = bed_face(&self.0.mesh);
            let facets = on_bed.into_iter().zip(0..);
            facets
                .map(|(on_bed, facet)| on_bed || self.is_sealed(facet))
                .collect()
        })
    }

    /// As [`Surface::nearest_within`], of the skin that is seen: all but what is sealed.
    pub fn nearest_seen_within(&self, point_mm: DVec3, max_mm: f64) -> Option<SurfacePoint> {
        let Some(seen) = self.seen() else {
            return self.nearest_within(point_mm, max_mm);
        };
        let near = seen.tree.nearest(&seen.mesh, point_mm, max_mm)?;
        let facet = seen.facets.get(near.facet as usize).copied()?;
        Some(SurfacePoint { facet, ..near })
    }

    /// The least and the most, mm, that the skin that is seen can be away from a point; none if the
    /// least is more than `max_mm`. The most is no more than a quarter above the least: sooner told
    /// than the nearest point, of which many are nearly as far.
    pub fn seen_distance_between(&self, point_mm: DVec3, max_mm: f64) -> Option<[f64; 2]> {
        let (tree, mesh) = match self.seen() {
            Some(seen) => (&seen.tree, &seen.mesh),
            None => (&self.0.tree, &*self.0.mesh),
        };
        tree.distance_between(mesh, point_mm, max_mm)
    }

    fn seen(&self) -> Option<&Seen> {
        let seen = self.0.seen.get_or_init(|| Seen::of(&self.0.mesh));
        seen.as_ref()
    }

    /// Calls `each` with every facet that reaches into a box (and perhaps a few that only
    /// come close).
    pub fn facets_in_box(&self, lo_mm: DVec3, hi_mm: DVec3, each: impl FnMut(u32)) {
        self.0.tree.facets_in_box(lo_mm, hi_mm, each);
    }

    /// What a question about a point that is no point (infinite, not a number) gets.
    fn any_point(&self) -> SurfacePoint {
        SurfacePoint {
            point_mm: self.0.mesh.corners(0)[0],
            facet: 0,
        }
    }
}

impl std::fmt::Debug for Surface {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let facets = self.0.mesh.triangles().len();
        f.debug_struct("Surface").field("facets", &facets).finish()
    }
}

#[cfg(test)]
pub(crate) mod shapes;
#[cfg(test)]
mod tests;
