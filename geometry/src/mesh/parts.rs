//! Connected shells.

use super::{Edges, around};
use crate::Mesh;

/// Which connected shell each facet belongs to. Facets are connected where they share an
/// edge; shells that only touch, at a vertex, along an edge or with a whole face, are apart.
///
/// ```
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// use geometry::{DVec3, Mesh, mesh::Parts, solids};
/// let block = solids::cuboid(DVec3::ONE)?;
/// let other = block.clone().map(|p| p + DVec3::X * 5.0)?;
/// let parts = Parts::of(&Mesh::join([block, other])?);
/// assert_eq!((parts.count(), parts.of_facet(3), parts.of_facet(12)), (2, 0, 1));
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Parts {
    of_facet: Vec<u32>,
    count: u32,
}

impl Parts {
    /// Of a mesh.
    pub fn of(mesh: &Mesh) -> Self {
        Self::by_edges(mesh, &Edges::of(mesh))
    }

    /// Of a mesh whose edges are known already.
    pub(crate) fn by_edges(mesh: &Mesh, edges: &Edges) -> Self {
        let mut sets = Sets::new(mesh.triangles().len());
        for edge in edges.iter() {
            match edge.uses {
                [_] => {}
                [a, b] => sets.join(a.facet, b.facet),
                _ => around::pairs(mesh, edge)
                    .into_iter()
                    .for_each(|[a, b]| sets.join(a, b)),
            }
        }
        sets.numbered()
    }

    /// How many shells there are.
    pub fn count(&self) -> usize {
        self.count as usize
    }

    /// The shell of every facet, numbered from 0 in order of their first facets.
    pub(crate) fn of_facets(&self) -> &[u32] {
        &self.of_facet
    }

    /// The shell of a facet.
    ///
    /// # Panics
    /// If there is no such facet, as slice indexing does.
    pub fn of_facet(&self, facet: usize) -> u32 {
        self.of_facet[facet]
    }
}

/// Disjoint sets of facets; a set's root is its least facet.
struct Sets(Vec<u32>);

impl Sets {
    fn new(count: usize) -> Self {
        Self((0..count as u32).collect())
    }

    fn root(&mut self, mut facet: u32) -> u32 {
        // Path halving: Tarjan and van Leeuwen 1984.
        loop {
            let above = self.0[facet as usize];
            if above == facet {
                return facet;
            }
            let next = self.0[above as usize];
            self.0[facet as usize] = next;
            facet = next;
        }
    }

    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }

    fn numbered(mut self) -> Parts {
        let mut count = 0;
        let mut of_facet = Vec::with_capacity(self.0.len());
        for facet in 0..self.0.len() as u32 {
            let root = self.root(facet);
            if root == facet {
                of_facet.push(count);
                count += 1;
            } else {
                of_facet.push(of_facet[root as usize]);
            }
        }
        Parts { of_facet, count }
    }
}
