//! What every format's reader feeds: corners are welded as they come.

use glam::DVec3;

use super::Problem;
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
    progress: Progress,
}

impl Builder {
    pub(super) fn new(progress: Progress) -> Self {
        Self {
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

    /// Adds a facet, unless two of its corners are at one place.
    #[inline]
    pub(super) fn facet(&mut self, [a, b, c]: [u32; 3]) -> Result<(), Problem> {
        if a == b || b == c || c == a {
            self.collapsed += 1;
            return Ok(());
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
        let mut outcome = Ok(());
        polygon::triangles(places, |[a, b, c]| {
            if let (Ok(()), Some(&a), Some(&b), Some(&c)) =
                (&outcome, numbers.get(a), numbers.get(b), numbers.get(c))
            {
                outcome = self.facet([a, b, c]);
            }
        })
        .map_err(|tangled| Problem::Refused(tangled.to_string()))?;
        outcome
    }

    pub(super) fn finish(mut self, notes: &mut Vec<String>) -> Result<Mesh, Problem> {
        if self.collapsed > 0 {
            let facets = match self.collapsed {
                1 => "1 facet with two corners at one place was left out.".to_owned(),
                count => format!("{count} facets with two corners at one place were left out."),
            };
            notes.push(facets);
        }
        self.triangles.shrink_to_fit();
        let mut vertices = self.welder.into_vertices();
        vertices.shrink_to_fit();
        let mesh = Mesh::new(vertices, self.triangles).map_err(|error| match error {
            MeshError::Empty => Problem::NoFacets,
            other => Problem::Refused(other.to_string()),
        })?;
        Ok(mesh.with_groups(self.groups))
    }
}
