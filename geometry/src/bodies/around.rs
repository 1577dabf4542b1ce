//! The triangles at each vertex.

/// For each vertex its triangles.
pub(super) struct Around {
    starts: Vec<u32>,
    triangles: Vec<u32>,
}

impl Around {
    pub(super) fn new(vertex_count: usize, triangles: &[[u32; 3]]) -> Self {
        let mut starts = vec![0u32; vertex_count + 1];
        for v in triangles.as_flattened() {
            starts[*v as usize + 1] += 1;
        }
        for v in 0..vertex_count {
            starts[v + 1] += starts[v];
        }
        let mut next = starts.clone();
        let mut sorted = vec![0u32; 3 * triangles.len()];
        for (t, corners) in triangles.iter().enumerate() {
            for v in corners {
                let place = &mut next[*v as usize];
                sorted[*place as usize] = t as u32;
                *place += 1;
            }
        }
        Self {
            starts,
            triangles: sorted,
        }
    }

    /// The triangles at a vertex.
    pub(super) fn of(&self, vertex: u32) -> &[u32] {
        let (from, to) = (vertex as usize, vertex as usize + 1);
        &self.triangles[self.starts[from] as usize..self.starts[to] as usize]
    }
}
