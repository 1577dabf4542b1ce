//! The corners of facets that come together at each vertex.

/// For each vertex, or each place that several vertices share, the corners of facets there.
///
/// ```
/// use geometry::mesh::Fans;
/// let facets = [[0u32, 1, 2], [2, 1, 3]];
/// let fans = Fans::of(4, facets.as_flattened().iter().copied());
/// assert_eq!((fans.count(), fans.at(1)), (4, &[1, 4][..]));
/// ```
#[derive(Clone, Debug)]
pub struct Fans {
    /// Where the corners of each vertex begin; one more at the end.
    starts: Vec<u32>,
    corners: Vec<u32>,
}

impl Fans {
    /// Sorts corners by the names of their vertices, which are below `count`, in time linear in
    /// their number. `names` tells the vertex of each facet's corners, one facet after the other.
    ///
    /// # Panics
    /// If a name is not below `count`, as slice indexing does.
    pub fn of(count: usize, names: impl Iterator<Item = u32> + Clone) -> Self {
        let mut starts = vec![0u32; count + 1];
        for name in names.clone() {
            starts[name as usize + 1] += 1;
        }
        for vertex in 0..count {
            starts[vertex + 1] += starts[vertex];
        }
        let mut next = starts.clone();
        let mut corners = vec![0; starts[count] as usize];
        for (name, corner) in names.zip(0u32..) {
            let place = &mut next[name as usize];
            corners[*place as usize] = corner;
            *place += 1;
        }
        Self { starts, corners }
    }

    /// How many vertices there are.
    pub fn count(&self) -> usize {
        self.starts.len() - 1
    }

    /// The corners at a vertex, written `3 * facet + corner`, in rising order.
    ///
    /// # Panics
    /// If there is no such vertex, as slice indexing does.
    pub fn at(&self, vertex: usize) -> &[u32] {
        &self.corners[self.starts[vertex] as usize..self.starts[vertex + 1] as usize]
    }

    /// The corners at all vertices, one vertex after the other.
    pub fn corners(&self) -> &[u32] {
        &self.corners
    }
}
