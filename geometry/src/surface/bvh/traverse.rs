//! Searching the tree, the nearest boxes first: for one, or for eight that go the same way.

use glam::Vec4;

use super::node::{F32x8, FACET, Node, Sides, WIDTH};

/// How many children may wait in a search before it takes memory of its own for them.
const USUAL: usize = 64;

/// The tree.
pub(super) struct Bvh8 {
    nodes: Vec<Node>,
    root: u32,
    /// Nodes on the longest way from the root.
    depth: usize,
}

impl Bvh8 {
    /// Of one node or more, which lead from the root to each other and to facets.
    pub(super) fn new(nodes: Vec<Node>, root: u32) -> Self {
        let mut depth = 1;
        let mut open = vec![(root, 1)];
        while let Some((name, level)) = open.pop() {
            depth = depth.max(level);
            let inner = nodes[name as usize].names().filter(|n| n & FACET == 0);
            open.extend(inner.map(|name| (name, level + 1)));
        }
        Self { nodes, root, depth }
    }

    /// Looks for the facet of least cost. `costs` bounds from below what the facets in the
    /// boxes of a node cost, infinite for a box to be left out; `visit` gives a facet's own
    /// cost, if that is the least so far. Boxes above the least cost, `most` at first, are not
    /// opened. No cost is negative.
    #[inline]
    pub(super) fn search(
        &self,
        most: f32,
        costs: impl Fn(&Node) -> F32x8,
        visit: impl FnMut(u32) -> Option<f32>,
    ) {
        match self.waiting() {
            ..=USUAL => self.search_with(&mut [0; USUAL], most, costs, visit),
            more => self.search_with(&mut vec![0; more], most, costs, visit),
        }
    }

    /// How many children wait at most: all but one of each node on the way down, and a last.
    fn waiting(&self) -> usize {
        (WIDTH - 1) * self.depth + 1
    }

    #[inline(always)]
    fn search_with(
        &self,
        stack: &mut [u64],
        most: f32,
        costs: impl Fn(&Node) -> F32x8,
        mut visit: impl FnMut(u32) -> Option<f32>,
    ) {
        let mut least = most.min(f32::MAX);
        let mut waiting = 1;
        stack[0] = key(0.0, self.root);
        while waiting > 0 {
            waiting -= 1;
            let next = stack[waiting];
            if next > key(least, u32::MAX) {
                continue;
            }
            let name = next as u32;
            if name & FACET != 0 {
                if let Some(cost) = visit(name & !FACET) {
                    least = cost;
                }
                continue;
            }
            let node = &self.nodes[name as usize];
            let [one, other] = costs(node);
            let bound = Vec4::splat(least);
            let near = one.cmple(bound).bitmask() | other.cmple(bound).bitmask() << 4;
            let mut near = near & !(u32::MAX << node.count);
            let costs = [one.to_array(), other.to_array()];
            let mut next = Next::default();
            while near != 0 {
                let slot = near.trailing_zeros() as usize % WIDTH;
                near &= near - 1;
                next.add(key(costs[slot / 4][slot % 4], node.children[slot]));
            }
            waiting += next.lay(&mut stack[waiting..]);
        }
    }

    /// As [`Bvh8::search`], for eight searches that mostly go the same way. `least` is each
    /// one's greatest cost at first; `costs` bounds from below what the facets in the box of one
    /// child cost each; `visit` gives what a facet costs one of them.
    #[inline]
    pub(super) fn search_together(
        &self,
        least: F32x8,
        costs: impl Fn(&Sides, usize) -> F32x8,
        visit: impl FnMut(u32, usize) -> Option<f32>,
    ) {
        match self.waiting() {
            ..=USUAL => self.search_together_with(&mut [0; USUAL], least, costs, visit),
            more => self.search_together_with(&mut vec![0; more], least, costs, visit),
        }
    }

    #[inline(always)]
    fn search_together_with(
        &self,
        stack: &mut [u64],
        mut least: F32x8,
        costs: impl Fn(&Sides, usize) -> F32x8,
        mut visit: impl FnMut(u32, usize) -> Option<f32>,
    ) {
        let greatest = |least: F32x8| least[0].max(least[1]).max_element();
        let mut most = greatest(least);
        let mut waiting = 1;
        stack[0] = shared_key(0.0, u32::MAX, self.root);
        while waiting > 0 {
            waiting -= 1;
            let next = stack[waiting];
            let (cost, name) = ((next >> 32) as u32, next as u32);
            if f32::from_bits(cost & !WHOSE) > most {
                continue;
            }
            if name & FACET != 0 {
                let (mut whose, mut met) = (cost & WHOSE, false);
                while whose != 0 {
                    let lane = whose.trailing_zeros() as usize % 8;
                    whose &= whose - 1;
                    if let Some(cost) = visit(name & !FACET, lane) {
                        least[lane / 4][lane % 4] = cost;
                        met = true;
                    }
                }
                if met {
                    most = greatest(least);
                }
                continue;
            }
            let node = &self.nodes[name as usize];
            let sides = node.all_sides();
            let mut next = Next::default();
            for slot in 0..node.count as usize % (WIDTH + 1) {
                let costs = costs(&sides, slot);
                let near =
                    costs[0].cmple(least[0]).bitmask() | costs[1].cmple(least[1]).bitmask() << 4;
                if near != 0 {
                    let lowest = costs[0].min(costs[1]).min_element();
                    next.add(shared_key(lowest, near, node.children[slot]));
                }
            }
            waiting += next.lay(&mut stack[waiting..]);
        }
    }
}

/// What comes next from one node: up to eight keys, each once.
#[derive(Default)]
struct Next {
    keys: [u64; WIDTH],
    count: usize,
}

impl Next {
    #[inline(always)]
    fn add(&mut self, key: u64) {
        self.keys[self.count % WIDTH] = key;
        self.count += 1;
    }

    /// Lays the keys onto what waits, the dearest lowest: each above as many as are dearer. To
    /// count them asks for no jump that a processor would have to guess. Says how many they are.
    #[inline(always)]
    fn lay(&self, stack: &mut [u64]) -> usize {
        for &key in self.keys.iter().take(self.count) {
            let dearer = self
                .keys
                .iter()
                .map(|k| usize::from(*k > key))
                .sum::<usize>();
            stack[dearer] = key;
        }
        self.count
    }
}

/// The bits of a shared key's cost that say whose it is.
const WHOSE: u32 = 0xff;

/// As [`key`], of the least of eight costs, with the searches that want it in place of
/// the cost's last bits.
#[inline(always)]
fn shared_key(cost: f32, whose: u32, name: u32) -> u64 {
    let cost = (cost + 0.0).to_bits() & !WHOSE | (whose & WHOSE);
    u64::from(cost) << 32 | u64::from(name)
}

/// Sorts by cost, then by name: the bits of numbers that are not negative have their order.
#[inline(always)]
fn key(cost: f32, name: u32) -> u64 {
    // Adding zero turns -0 into 0.
    u64::from((cost + 0.0).to_bits()) << 32 | u64::from(name)
}
