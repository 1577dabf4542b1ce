//! Searching the tree, the nearest boxes first: for one, or for eight that go the same way.

use super::lanes::Lanes;
use super::node::{EachSide, FACET, Node, Sides, WIDTH};

/// How many children may wait in a search before it takes memory of its own for them.
const USUAL: usize = 64;

/// What is looked for in the tree: the facet of least cost. No cost is negative.
///
/// Methods are to be inlined always, as [`Lanes`] asks.
pub(super) trait Search<L: Lanes> {
    /// Bounds from below what the facets in each box of a node cost, infinite for a box to be
    /// left out.
    fn costs(&self, lanes: L, node: &Node) -> L::Eight;

    /// A facet's own cost, if that is the least so far.
    fn visit(&mut self, facet: u32) -> Option<f32>;
}

/// Eight searches that mostly go the same way.
pub(super) trait SharedSearch<L: Lanes> {
    /// Bounds from below what the facets in each box of a node cost any of the searches.
    fn shared(&self, lanes: L, sides: &Sides<L>) -> L::Eight;

    /// Bounds from below what the facets in the box of one child cost each search.
    fn costs(&self, lanes: L, sides: &EachSide, slot: usize) -> L::Eight;

    /// What a facet costs one of them, if that is the least so far.
    fn visit(&mut self, facet: u32, lane: usize) -> Option<f32>;
}

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

    /// Looks for the facet of least cost. Boxes above the least cost, `most` at first, are not
    /// opened.
    #[inline(always)]
    pub(super) fn search<L: Lanes>(&self, lanes: L, most: f32, search: &mut impl Search<L>) {
        match self.waiting() {
            ..=USUAL => self.search_with(lanes, &mut [0; USUAL], most, search),
            more => self.search_with(lanes, &mut vec![0; more], most, search),
        }
    }

    /// How many children wait at most: all but one of each node on the way down, and a last.
    fn waiting(&self) -> usize {
        (WIDTH - 1) * self.depth + 1
    }

    #[inline(always)]
    fn search_with<L: Lanes>(
        &self,
        lanes: L,
        stack: &mut [u64],
        most: f32,
        search: &mut impl Search<L>,
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
                if let Some(cost) = search.visit(name & !FACET) {
                    least = cost;
                }
                continue;
            }
            let node = &self.nodes[name as usize];
            let costs = search.costs(lanes, node);
            let mut near = lanes.no_greater(costs, lanes.all(least)) & !(u32::MAX << node.count);
            let costs = lanes.each(costs);
            let mut next = Next::default();
            while near != 0 {
                let slot = near.trailing_zeros() as usize % WIDTH;
                near &= near - 1;
                next.add(key(costs[slot], node.children[slot]));
            }
            waiting += next.lay(&mut stack[waiting..]);
        }
    }

    /// As [`Bvh8::search`], for eight at once; `least` is each one's greatest cost at first.
    #[inline(always)]
    pub(super) fn search_together<L: Lanes>(
        &self,
        lanes: L,
        least: [f32; 8],
        search: &mut impl SharedSearch<L>,
    ) {
        match self.waiting() {
            ..=USUAL => self.search_together_with(lanes, &mut [0; USUAL], least, search),
            more => self.search_together_with(lanes, &mut vec![0; more], least, search),
        }
    }

    #[inline(always)]
    fn search_together_with<L: Lanes>(
        &self,
        lanes: L,
        stack: &mut [u64],
        mut least: [f32; 8],
        search: &mut impl SharedSearch<L>,
    ) {
        let mut most = greatest_of(least);
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
                    if let Some(cost) = search.visit(name & !FACET, lane) {
                        least[lane] = cost;
                        met = true;
                    }
                }
                if met {
                    most = greatest_of(least);
                }
                continue;
            }
            let node = &self.nodes[name as usize];
            let sides = node.all_sides(lanes);
            let near = lanes.no_greater(search.shared(lanes, &sides), lanes.all(most));
            let mut near = near & !(u32::MAX << node.count);
            let sides = EachSide::of(lanes, &sides);
            let each_least = lanes.of(least);
            let mut next = Next::default();
            while near != 0 {
                let slot = near.trailing_zeros() as usize % WIDTH;
                near &= near - 1;
                let costs = search.costs(lanes, &sides, slot);
                let whose = lanes.no_greater(costs, each_least);
                if whose != 0 {
                    let lowest = least_of(lanes.each(costs));
                    next.add(shared_key(lowest, whose, node.children[slot]));
                }
            }
            waiting += next.lay(&mut stack[waiting..]);
        }
    }
}

#[inline(always)]
fn least_of([a, b, c, d, e, f, g, h]: [f32; 8]) -> f32 {
    let (a, b, c, d) = (lesser(a, e), lesser(b, f), lesser(c, g), lesser(d, h));
    lesser(lesser(a, c), lesser(b, d))
}

#[inline(always)]
fn greatest_of([a, b, c, d, e, f, g, h]: [f32; 8]) -> f32 {
    let (a, b, c, d) = (greater(a, e), greater(b, f), greater(c, g), greater(d, h));
    greater(greater(a, c), greater(b, d))
}

/// As `f32::min`, in one instruction: costs are never NaN.
#[inline(always)]
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline(always)]
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
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
        match (self.count, self.keys) {
            (0, _) => return 0,
            (1, [only, ..]) => {
                stack[0] = only;
                return 1;
            }
            (2, [one, other, ..]) => {
                (stack[0], stack[1]) = (one.max(other), one.min(other));
                return 2;
            }
            _ => {}
        }
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
