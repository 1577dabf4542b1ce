//! Checking a mesh: what it is, what is wrong with it, where, and what to do.
//!
//! ```
//! # fn main() -> Result<(), geometry::mesh::MeshError> {
//! use geometry::{DVec3, inspect::Inspection, solids};
//! let report = Inspection::of(&solids::cuboid(DVec3::new(20.0, 10.0, 5.0))?);
//! assert!(report.is_sound());
//! assert_eq!((report.facets, report.shells.len()), (12, 1));
//! # Ok(())
//! # }
//! ```

mod apart;
mod crossings;
mod facets;
mod findings;
mod holes;
mod shells;
mod tally;
#[cfg(test)]
mod tests;
mod words;

use std::ops::Range;

use glam::DVec3;
use rayon::prelude::*;
use serde::Serialize;
use smallvec::SmallVec;

use crate::mesh::{Edges, Parts};
use crate::stretches::stretches;
use crate::{Mesh, Progress, layers};

pub use crossings::Crossings;
use crossings::Pairs;
pub(crate) use crossings::crossing_pairs;
pub(crate) use facets::{Thin, sliver_mm, thin};
pub use findings::{Finding, Severity};
pub use holes::Hole;
pub use shells::{Shell, sealed_facets};
pub use tally::Tally;
use tally::centroid;
pub(crate) use tally::{CRACK_MM, SLIT_MM};
pub use words::{area_words, place_words, volume_words};

/// What a mesh is, and what may be wrong with it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Inspection {
    /// Least corner of the box around it, mm.
    pub least_mm: DVec3,
    /// Greatest corner of the box around it, mm.
    pub greatest_mm: DVec3,
    /// Its extent along x, y and z, mm.
    pub size_mm: DVec3,
    /// Area of all facets, mm².
    pub area_mm2: f64,
    /// How much of it no eye ever sees, mm²: the walls of sealed cavities, and what lies in them.
    pub sealed_mm2: f64,
    /// Volume of plastic, mm³: exact for a sound mesh; else as [`layers::solid_volume_mm3`]
    /// tells it from outlines, so that `layers` adds up to the same.
    pub volume_mm3: f64,
    /// Volume that the facets alone add up to, mm³, by the divergence theorem: what overlaps
    /// counts as often as it overlaps, and what faces inwards is taken away.
    pub facet_volume_mm3: f64,
    /// How many facets.
    pub facets: usize,
    /// How many vertices.
    pub vertices: usize,
    /// Connected shells, in order of their first facets.
    pub shells: Vec<Shell>,
    /// Gaps in the surface, the longest rim first.
    pub holes: Vec<Hole>,
    /// Edges where more than two facets meet.
    pub non_manifold_edges: Tally,
    /// Those of them where as many facets run one way as the other, as where solids touch.
    pub touching_edges: Tally,
    /// Edges whose two facets disagree about which side is out.
    pub flipped_edges: Tally,
    /// Facets without area.
    pub empty_facets: Tally,
    /// Facets that have area, but are lower than [`Inspection::sliver_mm`].
    pub slivers: Tally,
    /// The height below which a facet is a sliver, mm: a tenth of a micron, and of parts smaller than
    /// 1 mm a ten-thousandth of their size.
    pub sliver_mm: f64,
    /// Facets with the same corners as an earlier one, whichever way they face, but for
    /// [`Inspection::touching_facets`].
    pub duplicate_facets: Tally,
    /// Pairs of facets that lie on each other, facing opposite ways, of two shells: solids touch
    /// there.
    pub touching_facets: Tally,
    /// Closed shells that face inwards and are not the wall of a hollow.
    pub inside_out_shells: Tally,
    /// Closed shells that face outwards within another: their volume counts twice.
    pub doubled_shells: Tally,
    /// Vertices on the rim of a hole within `CRACK_MM` of another rim vertex: welding
    /// them would close a crack.
    pub cracked_vertices: Tally,
    /// Facets that cross or overlap others.
    pub crossings: Crossings,
}

impl Inspection {
    /// Looks a mesh over, in time near linear in its facets. Places are in the mesh's own
    /// coordinates.
    pub fn of(mesh: &Mesh) -> Self {
        // Edges and shells go in order; the search for crossings keeps the other cores busy.
        let ((mut seen, parts), pairs) =
            rayon::join(|| Self::without_crossings(mesh), || Pairs::find(mesh));
        seen.crossings = Crossings::of(mesh, pairs, &parts);
        // Nobody cancels a handle that nobody else has.
        if !seen.bounds_each_place_once()
            && let Ok((volume_mm3, _)) = layers::solid_volume_mm3(mesh, &Progress::new())
        {
            seen.volume_mm3 = volume_mm3;
        }
        seen
    }

    /// All but what crosses, and the shell of each facet.
    fn without_crossings(mesh: &Mesh) -> (Self, Parts) {
        let measured = || (mesh.volume_mm3(), mesh.area_mm2());
        let looked_over = || rayon::join(measured, || facets::look_over(mesh));
        let (edges, looked_over) = rayon::join(|| Edges::of(mesh), looked_over);
        let ((facet_volume_mm3, area_mm2), facets) = looked_over;
        let parts = Parts::by_edges(mesh, &edges);
        let (edge_faults, (shells, sealed_mm2)) = rayon::join(
            || EdgeFaults::of(mesh, &edges, &parts),
            || shells::find(mesh, &parts, &edges),
        );
        let (least_mm, greatest_mm) = mesh.bounds();
        let seen = Self {
            least_mm,
            greatest_mm,
            size_mm: greatest_mm - least_mm,
            area_mm2,
            sealed_mm2,
            volume_mm3: facet_volume_mm3,
            facet_volume_mm3,
            facets: mesh.triangles().len(),
            vertices: mesh.vertices().len(),
            inside_out_shells: shells::tally(&shells, |s| s.inside_out),
            doubled_shells: shells::tally(&shells, |s| s.doubled),
            shells,
            holes: holes::find(mesh, &edge_faults.boundary),
            non_manifold_edges: edge_faults.non_manifold,
            touching_edges: edge_faults.touching,
            flipped_edges: edge_faults.flipped,
            empty_facets: facets.empty,
            slivers: facets.slivers,
            sliver_mm: facets.sliver_mm,
            duplicate_facets: edge_faults.duplicates,
            touching_facets: edge_faults.walls,
            cracked_vertices: holes::cracks(mesh, &edges, &edge_faults.boundary),
            crossings: Crossings::default(),
        };
        (seen, parts)
    }

    /// Whether the surface winds once about every place within and not at all about others, so
    /// that its facets alone add up to the volume.
    fn bounds_each_place_once(&self) -> bool {
        let wrong = self.crossings.count()
            + self.inside_out_shells.count
            + self.doubled_shells.count
            + self.duplicate_facets.count
            + (self.non_manifold_edges.count - self.touching_edges.count);
        self.is_closed() && wrong == 0 && !self.crossings.given_up
    }

    /// Whether every edge has as many facets running one way as the other, so that volumes
    /// and contours are exact.
    pub fn is_closed(&self) -> bool {
        self.holes.is_empty() && self.flipped_edges.count == 0
    }

    /// Whether the plastic has next to no volume for the area: the mesh is a sheet, or its facets
    /// cancel each other.
    pub fn is_sheet(&self) -> bool {
        is_sheet(self.volume_mm3.abs(), self.area_mm2)
    }

    /// How far off the facets' own volume is, as a share of the plastic's: 0 for a sound mesh.
    pub(crate) fn volume_error(&self) -> f64 {
        match self.volume_mm3 {
            0.0 => 0.0,
            solid => self.facet_volume_mm3 / solid - 1.0,
        }
    }
}

/// A solid thinner than this share of a cube of its own area is a sheet: 1 stands for 1 mm of
/// thickness on a kilometre.
const SHEET: f64 = 1e-6;

/// Whether a volume, mm³, is next to nothing for its area, mm².
pub(crate) fn is_sheet(volume_mm3: f64, area_mm2: f64) -> bool {
    // Of a cube, volume² is area³ / 216.
    volume_mm3 <= 0.0 || volume_mm3 * volume_mm3 * 216.0 < SHEET * SHEET * area_mm2.powi(3)
}

/// What the edges tell.
#[derive(Default)]
struct EdgeFaults {
    /// Sides without a partner, as (from, to) in their facet's direction.
    boundary: Vec<(u32, u32)>,
    non_manifold: Tally,
    touching: Tally,
    flipped: Tally,
    duplicates: Tally,
    walls: Tally,
}

impl EdgeFaults {
    fn of(mesh: &Mesh, edges: &Edges, parts: &Parts) -> Self {
        let from = stretches(edges.vertices());
        let found: Vec<Self> = from
            .map(|from| Self::among(mesh, edges, parts, from))
            .collect();
        found.into_iter().fold(Self::default(), Self::and)
    }

    /// Of the edges from some vertices.
    fn among(mesh: &Mesh, edges: &Edges, parts: &Parts, from: Range<usize>) -> Self {
        let mut faults = Self::default();
        for edge in from.flat_map(|from| edges.rising_from(from as u32)) {
            let middle = || {
                let end = |v: u32| mesh.vertices()[v as usize];
                (end(edge.from) + end(edge.to)) * 0.5
            };
            match edge.uses {
                [only] => faults.boundary.push(match only.forward() {
                    true => (edge.from, edge.to),
                    false => (edge.to, edge.from),
                }),
                [a, b] if a.forward() == b.forward() => faults.flipped.add(middle),
                [_, _] => {}
                _ => {
                    faults.non_manifold.add(middle);
                    if edge.balance() == 0 {
                        faults.touching.add(middle);
                    }
                }
            }
            if let [_, _, ..] = edge.uses {
                faults.count_duplicates(mesh, edge, parts);
            }
        }
        faults
    }

    /// With those of later vertices.
    fn and(mut self, later: Self) -> Self {
        self.boundary.extend(later.boundary);
        Self {
            boundary: self.boundary,
            non_manifold: self.non_manifold.and(later.non_manifold),
            touching: self.touching.and(later.touching),
            flipped: self.flipped.and(later.flipped),
            duplicates: self.duplicates.and(later.duplicates),
            walls: self.walls.and(later.walls),
        }
    }

    /// Facets with the same corners share all edges; they are counted at the one between
    /// their two least vertices.
    fn count_duplicates(&mut self, mesh: &Mesh, edge: crate::mesh::edges::Edge<'_>, parts: &Parts) {
        let third = |facet: u32| {
            let corners = mesh.triangles()[facet as usize];
            corners
                .into_iter()
                .find(|&v| v != edge.from && v != edge.to)
        };
        let mut thirds: SmallVec<[(Option<u32>, u32, bool); 4]> = edge
            .uses
            .iter()
            .map(|u| (third(u.facet()), u.facet(), u.forward()))
            .filter(|(third, ..)| *third > Some(edge.to))
            .collect();
        thirds.sort_unstable();
        for same in thirds.chunk_by(|a, b| a.0 == b.0) {
            if let [(_, first, forward), (_, second, other_way)] = same
                && forward != other_way
                && parts.of_facet(*first as usize) != parts.of_facet(*second as usize)
            {
                self.walls.add(|| centroid(mesh, *second as usize));
                continue;
            }
            for (_, again, _) in same.iter().skip(1) {
                self.duplicates.add(|| centroid(mesh, *again as usize));
            }
        }
    }
}
