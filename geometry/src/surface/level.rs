//! The skin cut where areas end on level lines, before the rest of their edges is followed.
//!
//! A band may be thinner than anything that looking through a large facet would find, and its
//! ends are known. So they are cut first, exactly, and what is left between them is of one area
//! or has an edge of another kind in it.

use super::bisection::{Bisection, lowest};
use super::clusters::{Clustered, Grid};
use super::refine::{ClassArea, Classes, LOOK, LOOK_TO_MEASURE, Refined, Work, run};
use super::{Adjacency, Surface, SurfacePoint};
use super::{across, slice};
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
    surface: Surface,
    /// What the planes make of it; none where they cut nothing.
    cut: Option<Pieces>,
}

struct Pieces {
    mesh: Mesh,
    /// For each facet the one of the surface that it came from.
    source: Vec<u32>,
    adjacency: Adjacency,
}

impl LevelCut {
    /// Cuts a surface at heights, given in mm as [`rising`] gives them.
    pub fn new(surface: &Surface, rising_mm: &[f64]) -> Self {
        let cut = match slice::changes(surface.mesh(), rising_mm) {
            true => Pieces::of(surface.mesh(), rising_mm),
            false => None,
        };
        Self {
            surface: surface.clone(),
            cut,
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
        let across = self.across(&classes, finest_mm);
        let cut = across.as_ref().unwrap_or(self);
        let work = cut.run(classes, finest_mm, LOOK, progress)?;
        let mut refined = work.refined(progress)?;
        if cut.cut.is_some() {
            for facet in &mut refined.source_facet {
                *facet = cut.source_of(*facet);
            }
        }
        Ok(refined)
    }

    /// The area of each class, as [`LevelCut::refine`] and [`Refined::areas`] tell it, but no
    /// triangle is kept, and what is smaller than twice `finest_mm` is all that may be missed.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn areas(
        &self,
        classes: impl Classes,
        finest_mm: f64,
        progress: &Progress,
    ) -> Result<Vec<ClassArea>, Cancelled> {
        let across = self.across(&classes, finest_mm);
        let cut = across.as_ref().unwrap_or(self);
        let work = cut.run(classes, finest_mm, LOOK_TO_MEASURE, progress)?;
        work.areas(progress)
    }

    /// As [`LevelCut::refine`], to be looked at from afar: vertices are drawn together until no more
    /// than `most` triangles are left.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn clustered(
        &self,
        classes: impl Classes,
        finest_mm: f64,
        most: usize,
        progress: &Progress,
    ) -> Result<Clustered, Cancelled> {
        let across = self.across(&classes, finest_mm);
        let cut = across.as_ref().unwrap_or(self);
        let mesh = cut.mesh();
        let grid = Grid::for_most(most, mesh.vertices(), mesh.triangles());
        let work = cut.run(classes, finest_mm, LOOK, progress)?;
        work.clustered(grid, most, progress)
    }

    fn mesh(&self) -> &Mesh {
        match &self.cut {
            Some(pieces) => &pieces.mesh,
            None => self.surface.mesh(),
        }
    }

    /// With long thin facets cut across that may have an edge in them, if there are any.
    fn across(&self, classes: &impl Classes, finest_mm: f64) -> Option<Self> {
        let mesh = self.mesh();
        let uneven = |facet, corners| !classes.is_even(self.source_of(facet), corners);
        let (vertices, cut) = across::across(mesh, LOOK * finest_mm, uneven)?;
        let (triangles, facets): (_, Vec<u32>) = cut.into_iter().unzip();
        let source = facets.into_iter().map(|facet| self.source_of(facet));
        Some(Self {
            surface: self.surface.clone(),
            cut: Some(Pieces::with(
                Mesh::new(vertices, triangles).ok()?,
                source.collect(),
            )),
        })
    }

    fn run<C: Classes>(
        &self,
        classes: C,
        finest_mm: f64,
        look: f64,
        progress: &Progress,
    ) -> Result<Work<'_, Inwards<'_, C>>, Cancelled> {
        let inwards = Inwards { cut: self, classes };
        let whole = match &self.cut {
            Some(pieces) => Bisection::of_all(&pieces.mesh, &pieces.adjacency),
            None => Bisection::of_turned(self.surface.mesh(), self.surface.adjacency()),
        };
        run(whole, None, inwards, finest_mm, look, progress)
    }

    /// The corners of a facet, mm, from its lowest on.
    fn corners(&self, facet: usize) -> [DVec3; 3] {
        match &self.cut {
            Some(pieces) => pieces.mesh.corners(facet),
            None => {
                let corners = self.surface.mesh().corners(facet);
                let by = lowest(corners);
                [0, 1, 2].map(|i| corners[(by + i) % 3])
            }
        }
    }

    fn source_of(&self, facet: u32) -> u32 {
        let pieces = self.cut.as_ref();
        let found = pieces.and_then(|pieces| pieces.source.get(facet as usize));
        found.copied().unwrap_or(facet)
    }

    /// The point of the uncut surface to ask about.
    fn inwards(&self, point: SurfacePoint) -> SurfacePoint {
        let facet = point.facet as usize;
        let corners = self.corners(facet);
        let middle = corners.iter().sum::<DVec3>() / 3.0;
        let mut point_mm = point.point_mm + (middle - point.point_mm).clamp_length_max(INWARDS_MM);
        let [a, b, c] = corners;
        if corners.iter().all(|p| (p.z - a.z).abs() < SAME_MM) {
            let normal = (0.5 * (b - a).cross(c - a)).normalize_or_zero();
            point_mm -= normal * BENEATH_MM;
        }
        SurfacePoint {
            point_mm,
            facet: self.source_of(point.facet),
        }
    }
}

impl Pieces {
    /// None only where there would be too many vertices: cutting adds finite points and takes
    /// none away.
    fn of(mesh: &Mesh, rising_mm: &[f64]) -> Option<Self> {
        let mut vertices = mesh.vertices().to_vec();
        let facets = mesh.triangles().iter().copied().zip(0u32..);
        let cut = slice::by_planes(&mut vertices, facets, rising_mm);
        let (triangles, source) = cut.into_iter().unzip();
        Some(Self::with(Mesh::new(vertices, triangles).ok()?, source))
    }

    fn with(mesh: Mesh, source: Vec<u32>) -> Self {
        Self {
            adjacency: Adjacency::new(mesh.vertices().len(), mesh.triangles()),
            mesh,
            source,
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
