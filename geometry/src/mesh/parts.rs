//! Connected shells.

use std::sync::atomic::{AtomicU32, Ordering};

use rayon::prelude::*;

use super::{Edges, around};
use crate::Mesh;
use crate::stretches::stretches;

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
        let sets = Sets::new(mesh.triangles().len());
        stretches(edges.vertices()).for_each(|from| {
            for edge in from.flat_map(|from| edges.rising_from(from as u32)) {
                match edge.uses {
                    [_] => {}
                    [a, b] => sets.join(a.facet(), b.facet()),
                    _ => around::pairs(mesh, edge)
                        .into_iter()
                        .for_each(|[a, b]| sets.join(a, b)),
                }
            }
        });
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

/// Disjoint sets of facets, which threads join side by side; a set's root is its least facet.
///
/// What is above a facet is in its set and less than itself, whoever reads or changes it when, so
/// no order among threads is needed. Source: R. Anderson, H. Woll, "Wait-free Parallel Algorithms
/// for the Union-Find Problem", *STOC* 1991 (from memory).
struct Sets(Vec<AtomicU32>);

impl Sets {
    fn new(count: usize) -> Self {
        Self((0..count as u32).map(AtomicU32::new).collect())
    }

    fn above(&self, facet: u32) -> &AtomicU32 {
        &self.0[facet as usize]
    }

    fn root(&self, mut facet: u32) -> u32 {
        // Path halving: Tarjan and van Leeuwen 1984.
        loop {
            let above = self.above(facet).load(Ordering::Relaxed);
            if above == facet {
                return facet;
            }
            let next = self.above(above).load(Ordering::Relaxed);
            self.above(facet).store(next, Ordering::Relaxed);
            facet = next;
        }
    }

    fn join(&self, a: u32, b: u32) {
        loop {
            let (a, b) = (self.root(a), self.root(b));
            let (least, other) = (a.min(b), a.max(b));
            // Another thread may have put something above the root meanwhile.
            let put = |root: u32| {
                let above = self.above(root);
                above.compare_exchange(root, least, Ordering::Relaxed, Ordering::Relaxed)
            };
            if a == b || put(other).is_ok() {
                return;
            }
        }
    }

    fn numbered(self) -> Parts {
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
