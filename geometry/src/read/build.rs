//! What every format's reader feeds: corners are welded as they come.

use glam::DVec3;

use super::Problem;
use crate::appearance::{Appearance, Collector, Look};
use crate::mesh::{Groups, MeshError, Welder, polygon};
use crate::{Mesh, Progress};

/// Facets between two looks at whether to stop.
const FACETS_BETWEEN_CHECKS: usize = 1 << 16;

/// A mesh in the making. Memory: the mesh and the welder's table, no list of corners.
pub(super) struct Builder {
    welder: Welder,
    triangles: Vec<[u32; 3]>,
    groups: Groups,
    collapsed: usize,
    /// How facets look, if anybody asks.
    looks: Option<Collector>,
    progress: Progress,
}

/// How a face looks at its corners, each with one value or none.
#[derive(Clone, Copy, Default)]
pub(super) struct FaceLook<'a> {
    pub(super) material: Option<u32>,
    pub(super) colours: Option<&'a [[f32; 3]]>,
    pub(super) places: Option<&'a [[f32; 2]]>,
}

impl FaceLook<'_> {
    fn of(&self, corners: [usize; 3]) -> Look {
        fn chosen<T: Copy>(all: Option<&[T]>, corners: [usize; 3]) -> Option<[T; 3]> {
            let all = all?;
            let [a, b, c] = corners;
            Some([*all.get(a)?, *all.get(b)?, *all.get(c)?])
        }
        Look {
            material: self.material,
            colours: chosen(self.colours, corners),
            places: chosen(self.places, corners),
        }
    }
}

impl Builder {
    pub(super) fn new(with_looks: bool, progress: Progress) -> Self {
        Self {
            looks: with_looks.then(Collector::default),
            welder: Welder::default(),
            triangles: Vec::new(),
            groups: Groups::default(),
            collapsed: 0,
            progress,
        }
    }

    /// Makes room. The caller has checked that the file is long enough for this many.
    pub(super) fn reserve(&mut self, facets: usize) {
        self.triangles.reserve_exact(facets);
        // A closed mesh has about half as many vertices as facets (Euler).
        self.welder.reserve(facets / 2 + 3);
    }

    /// The number of the vertex at a position, which the caller has found finite.
    #[inline]
    pub(super) fn vertex(&mut self, position: DVec3) -> Result<u32, Problem> {
        self.welder
            .vertex(position)
            .map_err(|error| Problem::Refused(error.to_string()))
    }

    /// The facets to come belong to this object and this group of it, whichever have names.
    pub(super) fn begin(&mut self, object: &str, group: &str) {
        self.groups.begin(object, group, self.triangles.len());
    }

    /// Whether it has no facet yet.
    pub(super) fn is_empty(&self) -> bool {
        self.triangles.is_empty()
    }

    /// What is known of how facets look, if anybody asks.
    pub(super) fn looks(&mut self) -> Option<&mut Appearance> {
        self.looks.as_mut().map(|looks| &mut looks.appearance)
    }

    /// Adds a facet, unless two of its corners are at one place.
    #[inline]
    pub(super) fn facet(&mut self, corners: [u32; 3]) -> Result<(), Problem> {
        self.facet_like(corners, Look::default)
    }

    /// As [`Builder::facet`], with how it looks.
    #[inline]
    pub(super) fn facet_like(
        &mut self,
        [a, b, c]: [u32; 3],
        look: impl FnOnce() -> Look,
    ) -> Result<(), Problem> {
        if a == b || b == c || c == a {
            self.collapsed += 1;
            return Ok(());
        }
        if let Some(looks) = &mut self.looks {
            looks.add(&look());
        }
        self.triangles.push([a, b, c]);
        if self.triangles.len().is_multiple_of(FACETS_BETWEEN_CHECKS) {
            self.progress.check()?;
        }
        Ok(())
    }

    /// Adds a face of any number of corners, given by their numbers and places, cut into
    /// facets.
    pub(super) fn face(&mut self, numbers: &[u32], places: &[DVec3]) -> Result<(), Problem> {
        self.face_like(numbers, places, FaceLook::default())
    }

    /// As [`Builder::face`], with how it looks.
    pub(super) fn face_like(
        &mut self,
        numbers: &[u32],
        places: &[DVec3],
        look: FaceLook<'_>,
    ) -> Result<(), Problem> {
        if let ([a, b, c], [_, _, _]) = (numbers, places) {
            return self.facet_like([*a, *b, *c], || look.of([0, 1, 2]));
        }
        let mut outcome = Ok(());
        polygon::triangles(places, |[a, b, c]| {
            if let (Ok(()), Some(&u), Some(&v), Some(&w)) =
                (&outcome, numbers.get(a), numbers.get(b), numbers.get(c))
            {
                outcome = self.facet_like([u, v, w], || look.of([a, b, c]));
            }
        })
        .map_err(|tangled| Problem::Refused(tangled.to_string()))?;
        outcome
    }

    pub(super) fn finish(
        mut self,
        notes: &mut Vec<String>,
    ) -> Result<(Mesh, Option<Appearance>), Problem> {
        if self.collapsed > 0 {
            let facets = match self.collapsed {
                1 => "1 facet with two corners at one place was left out.".to_owned(),
                count => format!("{count} facets with two corners at one place were left out."),
            };
            notes.push(facets);
        }
        let facets = self.triangles.len();
        let looks = self.looks.take().and_then(|looks| looks.finish(facets));
        self.triangles.shrink_to_fit();
        let mut vertices = self.welder.into_vertices();
        vertices.shrink_to_fit();
        let mesh = Mesh::new(vertices, self.triangles).map_err(|error| match error {
            MeshError::Empty => Problem::NoFacets,
            other => Problem::Refused(other.to_string()),
        })?;
        Ok((mesh.with_groups(self.groups), looks))
    }
}
