//! Which facets share an edge, and which facets hang together.

/// The facets across each side of each facet.
///
/// Side `i` of a facet runs from its corner `i` to its corner `i + 1`. The sides that lie
/// on one edge form a ring: two of them on a well-made mesh, one at the rim of an open
/// one, more where sheets meet. A facet that names a vertex twice has no neighbours.
pub struct Adjacency {
    /// The next side of the ring, written `3 * facet + side`.
    ring: Vec<u32>,
}

impl Adjacency {
    pub(crate) fn new(vertex_count: usize, triangles: &[[u32; 3]]) -> Self {
        let mut ring: Vec<u32> = (0..3 * triangles.len() as u32).collect();
        let (starts, mut sides) = by_lower_vertex(vertex_count, triangles);
        for bounds in starts.windows(2) {
            let bucket = &mut sides[bounds[0] as usize..bounds[1] as usize];
            bucket.sort_unstable();
            for edge in bucket.chunk_by(|a, b| a.0 == b.0) {
                for (i, &(_, side)) in edge.iter().enumerate() {
                    ring[side as usize] = edge[(i + 1) % edge.len()].1;
                }
            }
        }
        Self { ring }
    }

    /// The other facets on a side's edge, each with its own side there.
    ///
    /// # Panics
    /// If there is no such facet or `side` is above 2, as slice indexing does.
    pub fn across(&self, facet: u32, side: usize) -> impl Iterator<Item = (u32, usize)> + '_ {
        let start = 3 * facet + side as u32;
        let mut at = start;
        std::iter::from_fn(move || {
            at = self.ring[at as usize];
            (at != start).then_some((at / 3, at as usize % 3))
        })
    }

    /// All facets that share an edge with a facet, each with its own side there.
    pub fn neighbours(&self, facet: u32) -> impl Iterator<Item = (u32, usize)> + '_ {
        (0..3).flat_map(move |side| self.across(facet, side))
    }

    /// A name of the edge that a side lies on: the least of the sides there, written
    /// `3 * facet + side`.
    pub(crate) fn edge(&self, facet: u32, side: usize) -> u32 {
        let start = 3 * facet + side as u32;
        let (mut least, mut at) = (start, self.ring[start as usize]);
        while at != start {
            least = least.min(at);
            at = self.ring[at as usize];
        }
        least
    }

    /// Whether no other facet lies on a side, written `3 * facet + side`.
    pub(crate) fn is_rim(&self, side: u32) -> bool {
        self.ring[side as usize] == side
    }

    pub(super) fn ring(&self) -> &[u32] {
        &self.ring
    }

    /// For each facet the number of its shell, counted from 0 in the order of facets.
    pub(super) fn shells(&self) -> Vec<u32> {
        const NONE: u32 = u32::MAX;
        let mut shell = vec![NONE; self.ring.len() / 3];
        let mut count = 0;
        let mut open = Vec::new();
        for first in 0..shell.len() as u32 {
            if shell[first as usize] != NONE {
                continue;
            }
            shell[first as usize] = count;
            open.push(first);
            while let Some(facet) = open.pop() {
                for (other, _) in self.neighbours(facet) {
                    if shell[other as usize] == NONE {
                        shell[other as usize] = count;
                        open.push(other);
                    }
                }
            }
            count += 1;
        }
        shell
    }
}

/// All sides as `(upper vertex, side)`, in buckets by their lower vertex.
fn by_lower_vertex(vertex_count: usize, triangles: &[[u32; 3]]) -> (Vec<u32>, Vec<(u32, u32)>) {
    let sides = || {
        let proper = |t: &[u32; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
        let facets = triangles.iter().enumerate().filter(move |(_, t)| proper(t));
        facets.flat_map(|(f, t)| {
            [(0, 1), (1, 2), (2, 0)].map(|(i, j)| {
                let (lower, upper) = (t[i].min(t[j]), t[i].max(t[j]));
                (lower, upper, (3 * f + i) as u32)
            })
        })
    };
    let mut starts = vec![0u32; vertex_count + 1];
    for (lower, _, _) in sides() {
        starts[lower as usize + 1] += 1;
    }
    for i in 0..vertex_count {
        starts[i + 1] += starts[i];
    }
    let mut fill = starts.clone();
    let mut sorted = vec![(0, 0); starts.last().map_or(0, |&n| n as usize)];
    for (lower, upper, side) in sides() {
        let place = &mut fill[lower as usize];
        sorted[*place as usize] = (upper, side);
        *place += 1;
    }
    (starts, sorted)
}
