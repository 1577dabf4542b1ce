//! The connected pieces of an area that are nearest to points.

use std::sync::Arc;

use glam::DVec3;

use super::facets::FacetSet;
use crate::surface::facet::nearest_on;
use crate::surface::{Adjacency, Classes, LevelCut, rising, stitch};
use crate::{Cancelled, Mesh, Progress, Surface, SurfacePoint};

/// The area's edge is followed in lengths of this, mm. A gap or a bridge narrower than this may
/// be missed.
const FINEST_MM: f64 = 0.2;

/// Triangles, each with its facet.
type Triangles = Vec<([u32; 3], u32)>;

/// Where on an area's facets some pieces of it lie.
#[derive(Clone, Debug)]
pub(super) struct Pieces {
    /// The facets with some of the pieces.
    facets: FacetSet,
    /// Those that have some of the rest of the area too,
    shared: FacetSet,
    /// what of the area lies on them, and for each triangle of that whether it is of the pieces.
    parts: Option<(Surface, Arc<[bool]>)>,
}

impl Pieces {
    /// Looks for the pieces of an area, class 1, that are nearest to points. `level_mm` are the
    /// heights at which the area ends on level lines.
    pub(super) fn of(
        surface: &Surface,
        near_mm: &[DVec3],
        level_mm: Vec<f64>,
        area: impl Classes,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let cut = LevelCut::new(surface, &rising(level_mm));
        let refined = cut.refine(area, FINEST_MM, progress)?;
        let facets = refined.source_facet.into_iter().zip(refined.class);
        let mut all: Vec<([u32; 3], (u32, u32))> =
            refined.triangles.into_iter().zip(facets).collect();
        stitch(&refined.vertices, &mut all);
        progress.check()?;
        let within = all.into_iter().filter(|(_, (_, class))| *class == 1);
        let within: Triangles = within.map(|(t, (facet, _))| (t, facet)).collect();
        let vertices = refined.vertices;
        let nearest = near_mm.iter().filter_map(|&near| {
            let off = |&(triangle, _): &([u32; 3], u32)| {
                let corners = triangle.map(|v| vertices[v as usize]);
                nearest_on(corners, near).distance_squared(near)
            };
            let offs = within.iter().map(off).zip(0u32..);
            offs.min_by(|a, b| a.0.total_cmp(&b.0))
        });
        let starts = nearest.map(|(_, triangle)| triangle).collect();
        let of_piece = flooded(&within, vertices.len(), starts);
        let facets = surface.mesh().triangles().len();
        Ok(Self::with(facets, vertices, &within, &of_piece))
    }

    fn with(facets: usize, vertices: Vec<DVec3>, within: &Triangles, of_piece: &[bool]) -> Self {
        let (mut some, mut other) = (vec![false; facets], vec![false; facets]);
        for (&(_, facet), of_piece) in within.iter().zip(of_piece) {
            let list = if *of_piece { &mut some } else { &mut other };
            list[facet as usize] = true;
        }
        let both = |facet: u32| some[facet as usize] && other[facet as usize];
        let parts = within.iter().zip(of_piece);
        let parts = parts.filter(|((_, facet), _)| both(*facet));
        let (triangles, of_piece): (Vec<[u32; 3]>, Vec<bool>) = parts
            .map(|((triangle, _), of_piece)| (*triangle, *of_piece))
            .unzip();
        let parts = Mesh::new(vertices, triangles).ok();
        Self {
            shared: FacetSet::new((0..facets).map(|facet| both(facet as u32))),
            facets: FacetSet::new(some.into_iter()),
            parts: parts.map(|mesh| (Surface::new(Arc::new(mesh)), of_piece.into())),
        }
    }

    /// Whether all of the area on a facet is in the pieces, or none.
    pub(super) fn is_even(&self, facet: u32) -> bool {
        !self.shared.contains(facet)
    }

    /// Whether a point of the area is in the pieces.
    pub(super) fn contains(&self, at: SurfacePoint) -> bool {
        if !self.facets.contains(at.facet) {
            return false;
        }
        let Some((parts, of_piece)) = &self.parts else {
            return true;
        };
        if !self.shared.contains(at.facet) {
            return true;
        }
        let nearest = parts.nearest(at.point_mm).facet;
        of_piece.get(nearest as usize).copied().unwrap_or(false)
    }
}

/// Which triangles hang together, over shared sides, with those to start from.
fn flooded(within: &Triangles, vertices: usize, starts: Vec<u32>) -> Vec<bool> {
    let mut reached = vec![false; within.len()];
    let triangles: Vec<[u32; 3]> = within.iter().map(|(triangle, _)| *triangle).collect();
    let adjacency = Adjacency::new(vertices, &triangles);
    for &start in &starts {
        reached[start as usize] = true;
    }
    let mut open = starts;
    while let Some(triangle) = open.pop() {
        for (next, _) in adjacency.neighbours(triangle) {
            if !std::mem::replace(&mut reached[next as usize], true) {
                open.push(next);
            }
        }
    }
    reached
}
