//! The skin cut where areas end on level lines, before the rest of their edges is followed.
//!
//! A band may be thinner than anything that looking through a large facet would find, and its
//! ends are known. So they are cut first, exactly, and what is left between them is of one area
//! or has an edge of another kind in it.

use super::refine::{Classes, Refined, run};
use super::slice;
use super::{Adjacency, Surface, SurfacePoint, bisection::Bisection};
use crate::{Cancelled, DVec3, Mesh, Progress};

/// How far into its facet a point is moved before it is asked for its class, mm: the last digit
/// must not decide at an edge.
const INWARDS_MM: f64 = 2e-3;
/// How far beneath a level facet its class is asked for, mm: a face that lies where a band ends
/// belongs to the plastic under it.
const BENEATH_MM: f64 = 1e-3;
/// Heights nearer than this are one height, mm.
const SAME_MM: f64 = 1e-4;

/// Finite heights in rising order, each once: those nearer than 1e-4 mm are one.
pub fn rising(mut heights_mm: Vec<f64>) -> Vec<f64> {
    heights_mm.retain(|height| height.is_finite());
    heights_mm.sort_by(f64::total_cmp);
    heights_mm.dedup_by(|a, b| (*a - *b).abs() < SAME_MM);
    heights_mm
}

/// A surface cut by level planes, which still knows its facets from before.
pub struct LevelCut {
    mesh: Mesh,
    /// For each facet the one of the surface that it came from.
    source: Vec<u32>,
}

impl LevelCut {
    /// Cuts a surface at heights, given in mm as [`rising`] gives them.
    pub fn new(surface: &Surface, rising_mm: &[f64]) -> Self {
        let mesh = surface.mesh();
        let mut vertices = mesh.vertices().to_vec();
        let facets = mesh.triangles().iter().copied().zip(0u32..);
        let cut = slice::by_planes(&mut vertices, facets, rising_mm);
        let (triangles, source) = cut.into_iter().unzip();
        match Mesh::new(vertices, triangles) {
            Ok(mesh) => Self { mesh, source },
            // Cutting adds finite points and takes none away; only their count could be too much.
            Err(_) => Self {
                source: (0..mesh.triangles().len() as u32).collect(),
                mesh: Mesh::clone(mesh),
            },
        }
    }

    /// As [`refine`](fn@super::refine), but a point is asked about a little inside of its facet,
    /// and beneath it where the facet is level.
    ///
    /// The classes are asked about facets of the surface from before, and those are the sources of
    /// what comes out. What they say of parts of a facet may leave level edges out of account.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn refine(
        &self,
        classes: impl Classes,
        finest_mm: f64,
        progress: &Progress,
    ) -> Result<Refined, Cancelled> {
        let triangles = self.mesh.triangles();
        let adjacency = Adjacency::new(self.mesh.vertices().len(), triangles);
        let facets = (0..triangles.len() as u32).collect();
        let inwards = Inwards { cut: self, classes };
        let whole = Bisection::of_all(&self.mesh, &adjacency);
        drop(adjacency);
        let mut refined = run(whole, facets, inwards, finest_mm, progress)?;
        for facet in &mut refined.source_facet {
            *facet = self.source_of(*facet);
        }
        Ok(refined)
    }

    fn source_of(&self, facet: u32) -> u32 {
        self.source.get(facet as usize).copied().unwrap_or(facet)
    }

    /// The point of the uncut surface to ask about.
    fn inwards(&self, point: SurfacePoint) -> SurfacePoint {
        let facet = point.facet as usize;
        let corners = self.mesh.corners(facet);
        let middle = corners.iter().sum::<DVec3>() / 3.0;
        let mut point_mm = point.point_mm + (middle - point.point_mm).clamp_length_max(INWARDS_MM);
        if corners.iter().all(|c| (c.z - corners[0].z).abs() < SAME_MM) {
            point_mm -= self.mesh.area_vector(facet).normalize_or_zero() * BENEATH_MM;
        }
        SurfacePoint {
            point_mm,
            facet: self.source_of(point.facet),
        }
    }
}

/// Classes of points a little inside of their facets.
struct Inwards<'a, C> {
    cut: &'a LevelCut,
    classes: C,
}

impl<C: Classes> Classes for Inwards<'_, C> {
    fn class(&self, at: SurfacePoint) -> u32 {
        self.classes.class(self.cut.inwards(at))
    }

    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        self.classes.is_even(self.cut.source_of(facet), corners_mm)
    }

    fn coarsest_mm(&self, class: u32) -> f64 {
        self.classes.coarsest_mm(class)
    }

    fn snap(&self) -> f64 {
        self.classes.snap()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surface::shapes::{block, surface};

    /// A band far thinner than what looking through a facet finds has the area it has.
    #[test]
    fn thin_bands_on_large_facets_are_not_missed() {
        let surface = surface(block(DVec3::new(30.0, 20.0, 40.0)));
        for high in [0.05, 0.4, 1.0] {
            let ends = [12.0, 12.0 + high];
            let class =
                |p: SurfacePoint| u32::from(p.point_mm.z >= ends[0] && p.point_mm.z < ends[1]);
            let cut = LevelCut::new(&surface, &ends);
            let refined = cut
                .refine(class, 1.0, &Progress::new())
                .expect("not stopped");
            let areas = refined.areas();
            assert!((areas[1].area_mm2 - 100.0 * high).abs() < 1e-9, "{areas:?}");
            assert_eq!(areas[1].error_mm2, 0.0);
            let facets = surface.mesh().triangles().len() as u32;
            assert!(refined.source_facet.iter().all(|&facet| facet < facets));
        }
    }

    /// The top of a part that a band ends with is of the band, as the plastic under it is.
    #[test]
    fn a_level_face_is_of_the_plastic_beneath_it() {
        let surface = surface(block(DVec3::new(30.0, 20.0, 40.0)));
        let class = |p: SurfacePoint| u32::from(p.point_mm.z >= 30.0 && p.point_mm.z < 40.0);
        let cut = LevelCut::new(&surface, &[30.0]);
        let areas = cut
            .refine(class, 1.0, &Progress::new())
            .expect("not stopped")
            .areas();
        assert!(
            (areas[1].area_mm2 - (600.0 + 100.0 * 10.0)).abs() < 1e-9,
            "{areas:?}"
        );
    }

    #[test]
    fn heights_rise_each_once() {
        let heights = rising(vec![3.0, f64::INFINITY, 1.0, 1.000_01, f64::NAN, -2.0]);
        assert_eq!(heights, [-2.0, 1.0, 3.0]);
    }
}
