//! Which facets meet at which edge.

use rayon::prelude::*;

use crate::Mesh;

/// One facet's use of an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EdgeUse {
    /// The edge's vertex with the greater index.
    to: u32,
    /// Twice the facet's number, and one more if it runs forwards: a mesh has fewer than 2³¹.
    facet_and_way: u32,
}

impl EdgeUse {
    fn new(to: u32, facet: u32, forward: bool) -> Self {
        Self {
            to,
            facet_and_way: facet << 1 | u32::from(forward),
        }
    }

    /// The facet.
    pub fn facet(self) -> u32 {
        self.facet_and_way >> 1
    }

    /// Whether the facet runs from the lesser index to the greater.
    pub fn forward(self) -> bool {
        self.facet_and_way & 1 == 1
    }
}

/// An edge and all facets that have it as a side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge<'a> {
    /// The vertex with the lesser index.
    pub from: u32,
    /// The vertex with the greater index.
    pub to: u32,
    /// The facets, at least one.
    pub uses: &'a [EdgeUse],
}

impl Edge<'_> {
    /// Facets that run along it forwards, less those that run backwards: 0 where the
    /// surface is closed.
    pub fn balance(&self) -> i64 {
        let sign = |u: &EdgeUse| if u.forward() { 1 } else { -1 };
        self.uses.iter().map(sign).sum()
    }
}

/// Times that all facets are looked at, at most, each time by another thread.
const MOST_LOOKS: usize = 8;

/// Vertices whose edges one thread sorts by itself.
const SORTED_ALONE: usize = 1 << 13;

/// Where each vertex's edges to greater vertices begin among all, and one more at the end; so many
/// vertices are looked at together.
fn starts(mesh: &Mesh, together: usize) -> Vec<u32> {
    let mut starts = vec![0u32; mesh.vertices().len() + 1];
    let counts = starts[1..].par_chunks_mut(together).enumerate();
    counts.for_each(|(i, counts)| {
        for (from, _) in all_uses(mesh) {
            if let Some(count) = counts.get_mut((from as usize).wrapping_sub(i * together)) {
                *count += 1;
            }
        }
    });
    for v in 1..starts.len() {
        starts[v] += starts[v - 1];
    }
    starts
}

/// Puts every use of an edge in its place, each vertex's in order.
fn fill(mesh: &Mesh, starts: &[u32], together: usize, uses: &mut [EdgeUse]) {
    let count = mesh.vertices().len();
    let mut rest = uses;
    let mut shares = Vec::new();
    for first in (0..count).step_by(together) {
        let starts = &starts[first..=(first + together).min(count)];
        let length = starts[starts.len() - 1] - starts[0];
        let (own, others) = rest.split_at_mut(length as usize);
        rest = others;
        shares.push((first, starts, own));
    }
    shares.into_par_iter().for_each(|(first, starts, own)| {
        let mut next = starts[..starts.len() - 1].to_vec();
        for (from, edge_use) in all_uses(mesh) {
            if let Some(place) = next.get_mut((from as usize).wrapping_sub(first)) {
                own[(*place - starts[0]) as usize] = edge_use;
                *place += 1;
            }
        }
        sort(starts, own);
    });
}

/// Sorts each vertex's edges by their other end, on all cores; `starts` tells where each vertex's
/// begin, counted from the first of them.
fn sort(starts: &[u32], uses: &mut [EdgeUse]) {
    let first = starts.first().copied().unwrap_or(0);
    if starts.len() <= SORTED_ALONE {
        for pair in starts.windows(2) {
            let of_vertex = &mut uses[(pair[0] - first) as usize..(pair[1] - first) as usize];
            // The sort is stable, so facets stay in order within an edge.
            of_vertex.sort_by_key(|u| u.to);
        }
        return;
    }
    let middle = starts.len() / 2;
    let (lower, upper) = uses.split_at_mut((starts[middle] - first) as usize);
    rayon::join(
        || sort(&starts[..=middle], lower),
        || sort(&starts[middle..], upper),
    );
}

/// All edges of a mesh, in order of their vertices. A facet that names a vertex twice has
/// no edges here.
///
/// ```
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// use geometry::{DVec3, mesh::Edges, solids};
/// let edges = Edges::of(&solids::cuboid(DVec3::ONE)?);
/// assert_eq!(edges.iter().count(), 18);
/// assert!(edges.iter().all(|edge| edge.uses.len() == 2 && edge.balance() == 0));
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug)]
pub struct Edges {
    uses: Vec<EdgeUse>,
    /// Where each vertex's edges to greater vertices begin in `uses`; one more at the end.
    starts: Vec<u32>,
}

impl Edges {
    /// Sorts a mesh's facets by edge: linear in their number.
    pub fn of(mesh: &Mesh) -> Self {
        // Some threads look at all facets, each for the edges of its own vertices.
        let threads = (rayon::current_num_threads() / 2).clamp(1, MOST_LOOKS);
        let together = mesh.vertices().len().div_ceil(threads).max(1);
        let starts = starts(mesh, together);
        let total = starts.last().copied().unwrap_or(0) as usize;
        let mut uses = vec![EdgeUse::new(0, 0, false); total];
        fill(mesh, &starts, together, &mut uses);
        Self { uses, starts }
    }

    /// Every edge once.
    pub fn iter(&self) -> impl Iterator<Item = Edge<'_>> {
        (0..self.vertices()).flat_map(|from| self.rising_from(from as u32))
    }

    /// How many vertices the mesh has.
    pub(crate) fn vertices(&self) -> usize {
        self.starts.len() - 1
    }

    /// The edges from a vertex to vertices of greater index.
    pub(crate) fn rising_from(&self, from: u32) -> impl Iterator<Item = Edge<'_>> {
        self.of_vertex(from)
            .chunk_by(|a, b| a.to == b.to)
            .map(move |uses| Edge {
                from,
                to: uses.first().map_or(from, |u| u.to),
                uses,
            })
    }

    /// The edge between two vertices, given in either order.
    pub fn between(&self, a: u32, b: u32) -> Option<Edge<'_>> {
        let (from, to) = (a.min(b), a.max(b));
        let of_vertex = self.of_vertex(from);
        let begin = of_vertex.partition_point(|u| u.to < to);
        let count = of_vertex[begin..].iter().take_while(|u| u.to == to).count();
        let uses = &of_vertex[begin..begin + count];
        (count > 0).then_some(Edge { from, to, uses })
    }

    fn of_vertex(&self, from: u32) -> &[EdgeUse] {
        let from = from as usize;
        match (self.starts.get(from), self.starts.get(from + 1)) {
            (Some(&begin), Some(&end)) => &self.uses[begin as usize..end as usize],
            _ => &[],
        }
    }
}

/// Every side of every facet, with its vertex of lesser index.
fn all_uses(mesh: &Mesh) -> impl Iterator<Item = (u32, EdgeUse)> {
    let facets = mesh.triangles().iter().enumerate();
    facets
        .filter(|(_, corners)| super::weld::has_three_corners(**corners))
        .flat_map(|(facet, &[a, b, c])| {
            [(a, b), (b, c), (c, a)].map(|(from, to)| {
                let edge_use = EdgeUse::new(from.max(to), facet as u32, from < to);
                (from.min(to), edge_use)
            })
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{DVec3, solids};

    #[test]
    fn edges_are_found_by_their_ends() {
        let ball = solids::icosphere(1.0, 2).unwrap();
        let edges = Edges::of(&ball);
        // Euler: V − E + F = 2.
        let count = edges.iter().count();
        assert_eq!(ball.vertices().len() + ball.triangles().len(), count + 2);
        for edge in edges.iter() {
            assert_eq!(edges.between(edge.to, edge.from), Some(edge));
        }
        assert_eq!(edges.between(0, 0), None);
        assert_eq!(edges.between(0, 1_000_000), None);
    }

    #[test]
    fn edges_and_shells_are_the_same_on_any_number_of_cores() {
        let ball = solids::icosphere(1.0, 4).unwrap();
        let other = ball.clone().map(|p| p + DVec3::X * 5.0).unwrap();
        let two = Mesh::join([ball, other]).unwrap();
        let found = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            pool.build().unwrap().install(|| {
                let edges = Edges::of(&two);
                let parts = crate::mesh::Parts::by_edges(&two, &edges);
                (edges.uses, edges.starts, parts)
            })
        };
        let alone = found(1);
        assert_eq!(alone.2.count(), 2);
        for threads in [3, 6, 24] {
            assert!(found(threads) == alone, "{threads}");
        }
    }

    #[test]
    fn a_facet_with_a_vertex_twice_has_no_edges() {
        let mesh = Mesh::new(vec![DVec3::ZERO, DVec3::X], vec![[0, 1, 1]]).unwrap();
        assert_eq!(Edges::of(&mesh).iter().count(), 0);
    }
}
