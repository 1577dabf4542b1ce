//! A tree of boxes with eight children a node, whose boxes are weighed at once.
//!
//! The sides of the boxes take a byte each: they are counted in steps from the node's low corner
//! and rounded outwards, so that a tree takes little more memory than the mesh it is about. As in
//! H. Ylitie, T. Karras and S. Laine, "Efficient Incoherent Ray Traversal on GPUs Through
//! Compressed Wide BVHs", *High-Performance Graphics* 2017 (from memory).

use glam::{Vec3A, Vec4};

/// Children of a node at most.
pub(super) const WIDTH: usize = 8;

/// Marks a child that is a facet; the other bits are its index.
pub(super) const FACET: u32 = 1 << 31;

/// How many children may wait in a search before it takes memory of its own for them.
const USUAL: usize = 64;

/// A value for each child.
pub(super) type Each = [Vec4; 2];

/// A box; the one that holds nothing has its sides the wrong way round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bounds {
    pub(super) low: Vec3A,
    pub(super) high: Vec3A,
}

impl Bounds {
    pub(super) const NOTHING: Self = Self {
        low: Vec3A::INFINITY,
        high: Vec3A::NEG_INFINITY,
    };

    #[inline]
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// Half the area of the box.
    #[inline]
    pub(super) fn half_area(self) -> f32 {
        let size = self.high - self.low;
        size.x * size.y + size.y * size.z + size.z * size.x
    }
}

/// What a node leads to: a facet with its mark, or another node.
#[derive(Clone, Copy)]
pub(super) struct Child {
    pub(super) bounds: Bounds,
    pub(super) name: u32,
}

/// A count of steps for each child.
type Steps = [[u8; 4]; 2];

/// The boxes and names of up to eight children.
pub(super) struct Node {
    /// The low corner of all boxes.
    origin: [f32; 3],
    /// The width of a step.
    step: [f32; 3],
    /// By axis, where each child's box begins and ends, in steps.
    low: [Steps; 3],
    high: [Steps; 3],
    children: [u32; WIDTH],
    count: u32,
}

impl Node {
    /// Of up to eight children; more are left out.
    pub(super) fn of(children: &[Child]) -> Self {
        let all = children.iter().map(|c| c.bounds);
        let all = all.reduce(Bounds::and).unwrap_or(Bounds {
            low: Vec3A::ZERO,
            high: Vec3A::ZERO,
        });
        // A little wide, so that the last step reaches the far side when rounded down.
        let width = |axis: usize| f64::from(all.high[axis]) - f64::from(all.low[axis]);
        let step = [0, 1, 2].map(|axis| (width(axis) / 255.0 * (1.0 + 1e-6)) as f32);
        let mut node = Self {
            origin: all.low.to_array(),
            step,
            low: [[[0; 4]; 2]; 3],
            high: [[[0; 4]; 2]; 3],
            children: [0; WIDTH],
            count: children.len().min(WIDTH) as u32,
        };
        for (slot, child) in children.iter().take(WIDTH).enumerate() {
            node.children[slot] = child.name;
            for (axis, &step) in step.iter().enumerate() {
                let steps = |side: f32| {
                    let off = f64::from(side) - f64::from(node.origin[axis]);
                    off / f64::from(step).max(f64::MIN_POSITIVE)
                };
                // Such a cast keeps to 0..=255.
                node.low[axis][slot / 4][slot % 4] = steps(child.bounds.low[axis]).floor() as u8;
                node.high[axis][slot / 4][slot % 4] = steps(child.bounds.high[axis]).ceil() as u8;
            }
        }
        node
    }

    fn names(&self) -> impl Iterator<Item = u32> {
        self.children.into_iter().take(self.count as usize)
    }

    /// Names a child that had no name yet.
    pub(super) fn name(&mut self, slot: usize, name: u32) {
        self.children[slot] = name;
    }

    /// Counts the names of nodes from further on.
    pub(super) fn shift(&mut self, by: u32) {
        let nodes = self.children.iter_mut().filter(|name| **name & FACET == 0);
        nodes.for_each(|name| *name += by);
    }

    /// Where each box begins and ends.
    #[inline(always)]
    fn all_sides(&self) -> Sides {
        let by_axis = [0, 1, 2].map(|axis| self.sides(axis, 0.0, 1.0));
        let apart = |each: Each| each.map(|half| half.to_array());
        Sides {
            low: by_axis.map(|[low, _]| apart(low)),
            high: by_axis.map(|[_, high]| apart(high)),
        }
    }

    /// Where the boxes begin along an axis and where they end: `(place + shift) × scale`.
    #[inline(always)]
    pub(super) fn sides(&self, axis: usize, shift: f32, scale: f32) -> [Each; 2] {
        self.placed([&self.low[axis], &self.high[axis]], axis, shift, scale)
    }

    /// As [`Node::sides`], but the ends first.
    #[inline(always)]
    pub(super) fn sides_from_behind(&self, axis: usize, shift: f32, scale: f32) -> [Each; 2] {
        self.placed([&self.high[axis], &self.low[axis]], axis, shift, scale)
    }

    #[inline(always)]
    fn placed(&self, sides: [&Steps; 2], axis: usize, shift: f32, scale: f32) -> [Each; 2] {
        let begin = Vec4::splat((self.origin[axis] + shift) * scale);
        let step = Vec4::splat(self.step[axis] * scale);
        let place = |[a, b, c, d]: [u8; 4]| {
            Vec4::new(f32::from(a), f32::from(b), f32::from(c), f32::from(d)) * step + begin
        };
        let [near, far] = sides;
        [
            [place(near[0]), place(near[1])],
            [place(far[0]), place(far[1])],
        ]
    }
}

/// The sides of a node's boxes, to be taken one box at a time.
pub(super) struct Sides {
    /// By axis, where each child's box begins and ends.
    low: [[[f32; 4]; 2]; 3],
    high: [[[f32; 4]; 2]; 3],
}

impl Sides {
    /// Where one box begins along an axis and where it ends.
    #[inline(always)]
    pub(super) fn of(&self, axis: usize, slot: usize) -> (f32, f32) {
        let (half, lane) = (slot / 4 % 2, slot % 4);
        (self.low[axis][half][lane], self.high[axis][half][lane])
    }
}

/// The tree.
pub(super) struct Wide {
    nodes: Vec<Node>,
    root: u32,
    /// Nodes on the longest way from the root.
    depth: usize,
}

impl Wide {
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
        costs: impl Fn(&Node) -> Each,
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
        costs: impl Fn(&Node) -> Each,
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

    /// As [`Wide::search`], for eight searches that mostly go the same way. `least` is each
    /// one's greatest cost at first; `costs` bounds from below what the facets in the box of one
    /// child cost each; `visit` gives what a facet costs one of them.
    #[inline]
    pub(super) fn search_together(
        &self,
        least: Each,
        costs: impl Fn(&Sides, usize) -> Each,
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
        mut least: Each,
        costs: impl Fn(&Sides, usize) -> Each,
        mut visit: impl FnMut(u32, usize) -> Option<f32>,
    ) {
        let greatest = |least: Each| least[0].max(least[1]).max_element();
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
