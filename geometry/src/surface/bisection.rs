//! Facets cut in halves until they are fine enough, without cracks between them.
//!
//! A triangle is always cut at its longest side, and every triangle on that side with it
//! (M.-C. Rivara, "Algorithms for refining triangular grids suitable for adaptive and
//! multigrid techniques", *International Journal for Numerical Methods in Engineering*
//! 20, 1984, from memory): so triangles stay well shaped, and two that touch always share
//! a whole side.

use glam::DVec3;
use rustc_hash::FxHashMap;

use super::adjacency::Adjacency;
use crate::Mesh;

/// A triangle of the bisection, whole or cut in two.
#[derive(Clone, Copy)]
pub(crate) struct Node {
    /// Its vertices.
    pub(crate) corners: [u32; 3],
    /// While it is whole: the next side on each side's edge, written `3 * node + side`.
    ring: [u32; 3],
    /// The first of its two halves, which follow each other; 0 while it is whole.
    half: u32,
    /// The side at which it was cut.
    cut: u8,
    /// Which of the facets it began with it is a part of.
    pub(crate) root: u32,
    /// What it is a half of; itself if it is a root.
    pub(crate) parent: u32,
}

impl Node {
    fn root(root: u32, corners: [u32; 3], ring: [u32; 3]) -> Self {
        Self {
            corners,
            ring,
            half: 0,
            cut: 0,
            root,
            parent: root,
        }
    }

    pub(crate) fn is_whole(&self) -> bool {
        self.half == 0
    }

    /// Values of its corners, turned so that the side at which it was cut comes first.
    pub(crate) fn turned_to_cut<T: Copy>(&self, values: [T; 3]) -> [T; 3] {
        [0, 1, 2].map(|i| values[(self.cut as usize + i) % 3])
    }
}

/// Facets, their halves, the halves' halves and so on. The first nodes are the facets it
/// began with, in their order; only those that are cut, or lie beside a cut, take any memory.
pub(crate) struct Bisection<'a> {
    roots_from: Roots<'a>,
    /// Vertices that cuts have made, numbered after those it began with.
    made: Vec<DVec3>,
    /// The roots that are cut or have a neighbour that is.
    touched: FxHashMap<u32, Node>,
    /// The other nodes, numbered after the roots.
    halves: Vec<Node>,
}

/// What a bisection begins with.
enum Roots<'a> {
    /// All facets of a mesh; turned, each from its lowest corner on.
    All {
        mesh: &'a Mesh,
        adjacency: &'a Adjacency,
        turned: bool,
    },
    /// Some facets, with vertices named anew.
    Some(Vec<DVec3>, Vec<Node>),
}

impl Roots<'_> {
    fn vertices(&self) -> &[DVec3] {
        match self {
            Self::All { mesh, .. } => mesh.vertices(),
            Self::Some(vertices, _) => vertices,
        }
    }

    fn node(&self, root: u32) -> Node {
        match self {
            Self::All { adjacency, .. } => {
                let by = self.turn(root);
                let ring = adjacency.ring().as_chunks::<3>().0[root as usize];
                let ring = [0, 1, 2].map(|side| {
                    let next = ring[(by + side) % 3];
                    let (other, side) = (next / 3, next as usize % 3);
                    3 * other + ((side + 3 - self.turn(other)) % 3) as u32
                });
                Node::root(root, self.corners(root), ring)
            }
            Self::Some(_, nodes) => nodes[root as usize],
        }
    }

    fn corners(&self, root: u32) -> [u32; 3] {
        match self {
            Self::All { mesh, .. } => {
                let (by, corners) = (self.turn(root), mesh.triangles()[root as usize]);
                [0, 1, 2].map(|i| corners[(by + i) % 3])
            }
            Self::Some(_, nodes) => nodes[root as usize].corners,
        }
    }

    /// Which of a facet's corners comes first.
    fn turn(&self, root: u32) -> usize {
        match self {
            Self::All {
                mesh, turned: true, ..
            } => lowest(mesh.corners(root as usize)),
            _ => 0,
        }
    }
}

/// The lowest corner, the first of several: facets that are cut by planes begin there.
pub(super) fn lowest(corners: [DVec3; 3]) -> usize {
    let below = |a: usize, b: usize| corners[a].z.total_cmp(&corners[b].z).is_lt();
    let first = usize::from(below(1, 0));
    if below(2, first) { 2 } else { first }
}

impl<'a> Bisection<'a> {
    /// Begins with all facets of a mesh; node, root and facet numbers agree.
    pub(crate) fn of_all(mesh: &'a Mesh, adjacency: &'a Adjacency) -> Self {
        Self::of(Roots::All {
            mesh,
            adjacency,
            turned: false,
        })
    }

    /// As [`Bisection::of_all`], but each facet begins with its lowest corner.
    pub(crate) fn of_turned(mesh: &'a Mesh, adjacency: &'a Adjacency) -> Self {
        Self::of(Roots::All {
            mesh,
            adjacency,
            turned: true,
        })
    }

    /// Begins with some facets of a mesh; `place` gives each facet's position in `facets`.
    pub(crate) fn of_some(
        mesh: &Mesh,
        adjacency: &Adjacency,
        facets: &[u32],
        place: &FxHashMap<u32, u32>,
    ) -> Self {
        let mut names = Vec::with_capacity(facets.len());
        let mut renamed = FxHashMap::default();
        renamed.reserve(facets.len());
        let mut nodes = Vec::with_capacity(facets.len());
        for (root, &facet) in facets.iter().enumerate() {
            let corners = mesh.triangles()[facet as usize].map(|v| {
                *renamed.entry(v).or_insert_with(|| {
                    names.push(v);
                    names.len() as u32 - 1
                })
            });
            let ring = [0, 1, 2].map(|side| {
                let next = adjacency
                    .across(facet, side)
                    .find_map(|(f, s)| Some(3 * place.get(&f)? + s as u32));
                next.unwrap_or((3 * root + side) as u32)
            });
            nodes.push(Node::root(root as u32, corners, ring));
        }
        let vertices = names.iter().map(|&v| mesh.vertices()[v as usize]).collect();
        Self::of(Roots::Some(vertices, nodes))
    }

    fn of(roots_from: Roots<'a>) -> Self {
        Self {
            roots_from,
            made: Vec::new(),
            touched: FxHashMap::default(),
            halves: Vec::new(),
        }
    }

    /// How many facets it began with.
    pub(crate) fn roots(&self) -> u32 {
        match &self.roots_from {
            Roots::All { mesh, .. } => mesh.triangles().len() as u32,
            Roots::Some(_, nodes) => nodes.len() as u32,
        }
    }

    /// How many nodes there are.
    pub(crate) fn count(&self) -> usize {
        self.roots() as usize + self.halves.len()
    }

    /// A node.
    pub(crate) fn node(&self, node: u32) -> Node {
        match node.checked_sub(self.roots()) {
            Some(half) => self.halves[half as usize],
            None => match self.touched.get(&node) {
                Some(touched) => *touched,
                None => self.roots_from.node(node),
            },
        }
    }

    fn node_mut(&mut self, node: u32) -> &mut Node {
        match node.checked_sub(self.roots()) {
            Some(half) => &mut self.halves[half as usize],
            None => {
                let from = &self.roots_from;
                self.touched.entry(node).or_insert_with(|| from.node(node))
            }
        }
    }

    /// A vertex, mm.
    pub(crate) fn vertex(&self, vertex: u32) -> DVec3 {
        let vertices = self.roots_from.vertices();
        match (vertex as usize).checked_sub(vertices.len()) {
            Some(made) => self.made[made],
            None => vertices[vertex as usize],
        }
    }

    /// How many vertices there are.
    pub(crate) fn vertex_count(&self) -> usize {
        self.roots_from.vertices().len() + self.made.len()
    }

    /// All vertices, mm: those it began with, then those that cuts have made.
    pub(crate) fn vertices(&self) -> impl Iterator<Item = DVec3> + '_ {
        let before = self.roots_from.vertices().iter();
        before.chain(&self.made).copied()
    }

    /// The vertices of a node.
    fn names(&self, node: u32) -> [u32; 3] {
        match node.checked_sub(self.roots()) {
            Some(half) => self.halves[half as usize].corners,
            None => self.roots_from.corners(node),
        }
    }

    /// The corners of a node, mm.
    pub(crate) fn corners(&self, node: u32) -> [DVec3; 3] {
        self.names(node).map(|v| self.vertex(v))
    }

    /// The longest side of a node; of equal sides both neighbours choose the same.
    pub(crate) fn longest_side(&self, node: u32) -> usize {
        let corners = self.names(node);
        let mut best = (0, (f64::NEG_INFINITY, 0, 0));
        for side in 0..3 {
            let (a, b) = (corners[side], corners[(side + 1) % 3]);
            let length = self.vertex(a).distance_squared(self.vertex(b));
            let key = (length, a.min(b), a.max(b));
            if key > best.1 {
                best = (side, key);
            }
        }
        best.0
    }

    /// The ends of a node's longest side, mm.
    pub(crate) fn longest_ends(&self, node: u32) -> [DVec3; 2] {
        let side = self.longest_side(node);
        let corners = self.corners(node);
        [corners[side], corners[(side + 1) % 3]]
    }

    /// Lists all sides on the edge of one side, that one first.
    fn on_edge(&self, node: u32, side: usize, sides: &mut Vec<u32>) {
        let first = 3 * node + side as u32;
        sides.clear();
        sides.push(first);
        let mut at = self.next(first);
        while at != first {
            sides.push(at);
            at = self.next(at);
        }
    }

    fn next(&self, side: u32) -> u32 {
        self.node(side / 3).ring[side as usize % 3]
    }

    fn set_next(&mut self, side: u32, next: u32) {
        self.node_mut(side / 3).ring[side as usize % 3] = next;
    }

    /// Cuts a whole node in two, and before it whatever else must be cut.
    pub(crate) fn cut(&mut self, node: u32) {
        let (mut wanted, mut sides) = (vec![node], Vec::with_capacity(2));
        while let Some(&top) = wanted.last() {
            if !self.node(top).is_whole() {
                wanted.pop();
                continue;
            }
            self.on_edge(top, self.longest_side(top), &mut sides);
            // A neighbour whose longest side is another must be cut there first. The
            // longest sides grow along this chain, so it ends.
            let nodes = sides.iter().map(|&s| (s / 3, s as usize % 3));
            let unready = nodes.filter(|&(n, side)| self.longest_side(n) != side);
            wanted.extend(unready.map(|(n, _)| n));
            if wanted.last() == Some(&top) {
                self.cut_edge(&sides);
                wanted.pop();
            }
        }
    }

    /// Cuts all triangles on one edge at its middle.
    fn cut_edge(&mut self, sides: &[u32]) {
        let Some(&first) = sides.first() else {
            return;
        };
        let corners = self.names(first / 3);
        let [start, end] = [0, 1].map(|i| corners[(first as usize % 3 + i) % 3]);
        let middle = self.vertex_count() as u32;
        self.made
            .push(self.vertex(start).midpoint(self.vertex(end)));
        // The halves of the edge get a ring each, in the order of the old one.
        let (mut last, mut first) = ([0; 2], [0; 2]);
        for (i, &side) in sides.iter().enumerate() {
            let halves = self.cut_one(side / 3, side as usize % 3, middle);
            let forward = self.names(halves[0])[0] == start;
            let ordered = if forward {
                halves
            } else {
                [halves[1], halves[0]]
            };
            for k in 0..2 {
                let side = 3 * ordered[k];
                if i == 0 {
                    first[k] = side;
                } else {
                    self.set_next(last[k], side);
                }
                last[k] = side;
                self.set_next(side, first[k]);
            }
        }
    }

    /// Cuts one triangle from the middle of a side to the corner across; in both halves,
    /// side 0 is the half of that side.
    fn cut_one(&mut self, node: u32, side: usize, middle: u32) -> [u32; 2] {
        let whole = self.node(node);
        let [a, b, c] = [0, 1, 2].map(|i| whole.corners[(side + i) % 3]);
        let first = self.count() as u32;
        let second = first + 1;
        let half = |corners, ring| Node {
            corners,
            ring,
            half: 0,
            cut: 0,
            root: whole.root,
            parent: node,
        };
        let own = |n: u32, s: u32| 3 * n + s;
        self.halves.push(half(
            [a, middle, c],
            [own(first, 0), own(second, 2), own(first, 2)],
        ));
        self.halves.push(half(
            [middle, b, c],
            [own(second, 0), own(second, 1), own(first, 1)],
        ));
        self.replace(own(node, ((side + 2) % 3) as u32), own(first, 2));
        self.replace(own(node, ((side + 1) % 3) as u32), own(second, 1));
        let whole = self.node_mut(node);
        whole.half = first;
        whole.cut = side as u8;
        [first, second]
    }

    /// Puts a new side into the ring of an old one.
    fn replace(&mut self, old: u32, new: u32) {
        let after = self.next(old);
        if after == old {
            return;
        }
        let mut before = after;
        while self.next(before) != old {
            before = self.next(before);
        }
        self.set_next(before, new);
        self.set_next(new, after);
    }

    /// The whole nodes.
    #[cfg(test)]
    fn leaves(&self) -> impl Iterator<Item = u32> + '_ {
        (0..self.count() as u32).filter(|&node| self.is_whole(node))
    }

    /// Whether a node's corners are three vertices.
    pub(crate) fn is_proper(&self, node: u32) -> bool {
        let [a, b, c] = self.names(node);
        a != b && b != c && c != a
    }

    /// Whether a node is not cut.
    pub(crate) fn is_whole(&self, node: u32) -> bool {
        match node.checked_sub(self.roots()) {
            Some(half) => self.halves[half as usize].is_whole(),
            None => self.touched.get(&node).is_none_or(Node::is_whole),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every inner side of the finished triangles is met by exactly one other.
    fn assert_no_cracks(mesh: &Bisection, closed: bool) {
        let mut seen = FxHashMap::<(u32, u32), i32>::default();
        for leaf in mesh.leaves() {
            let c = mesh.names(leaf);
            for (a, b) in [(c[0], c[1]), (c[1], c[2]), (c[2], c[0])] {
                *seen.entry((a.min(b), a.max(b))).or_default() += if a < b { 1 } else { -1 };
            }
        }
        if closed {
            assert!(seen.values().all(|&n| n == 0), "a side is met by no other");
        }
    }

    fn refine(mesh: &mut Bisection, too_long: impl Fn(DVec3, DVec3) -> bool) {
        let mut next = 0;
        while next < mesh.count() {
            let [a, b] = mesh.longest_ends(next as u32);
            if mesh.is_whole(next as u32) && too_long(a, b) {
                mesh.cut(next as u32);
            }
            next += 1;
        }
    }

    fn tetrahedron() -> Mesh {
        let v = |x: f64, y: f64, z: f64| DVec3::new(x, y, z);
        Mesh::new(
            vec![
                v(0.0, 0.0, 0.0),
                v(30.0, 0.0, 0.0),
                v(0.0, 2.0, 0.0),
                v(1.0, 1.0, 20.0),
            ],
            vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]],
        )
        .expect("valid")
    }

    #[test]
    fn refined_near_a_corner_it_stays_closed_and_keeps_its_area() {
        let mesh = tetrahedron();
        let adjacency = Adjacency::new(4, mesh.triangles());
        let mut cut = Bisection::of_all(&mesh, &adjacency);
        refine(&mut cut, |a, b| {
            a.distance(b) > 0.05 + 0.2 * a.midpoint(b).length()
        });
        assert!(cut.count() > 1000);
        assert_no_cracks(&cut, true);
        let area: f64 = cut
            .leaves()
            .map(|n| {
                let [a, b, c] = cut.corners(n);
                0.5 * (b - a).cross(c - a).length()
            })
            .sum();
        assert!((area - mesh.area_mm2()).abs() < 1e-9 * area);
    }
}
