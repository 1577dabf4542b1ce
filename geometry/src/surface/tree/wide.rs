//! A tree of boxes with four children a node, whose boxes are weighed at once.
//!
//! Built by folding the levels of a binary tree two into one, as in H. Dammertz, J. Hanika
//! and A. Keller, "Shallow Bounding Volume Hierarchies for Fast SIMD Ray Tracing of
//! Incoherent Rays", *Computer Graphics Forum* 27(4), 2008 (from memory).

use glam::{Vec3, Vec4};
use parry3d::partitioning::{Bvh, BvhNode, TraversalAction};
use smallvec::SmallVec;

/// Marks a child that is a facet; the other bits are its index.
const FACET: u32 = 1 << 31;

/// How many children may wait in a search before it takes memory of its own for them.
const USUAL: usize = 64;

/// The boxes of four children: by axis, the low sides of all four, then the high ones.
#[derive(Clone, Copy)]
pub(super) struct Boxes {
    pub(super) low: [Vec4; 3],
    pub(super) high: [Vec4; 3],
}

/// Two cache lines.
#[derive(Clone, Copy)]
#[repr(align(64))]
struct Node {
    boxes: Boxes,
    children: [u32; 4],
}

impl Node {
    /// Boxes that hold nothing: no query comes near them.
    const EMPTY: Self = Self {
        boxes: Boxes {
            low: [Vec4::INFINITY; 3],
            high: [Vec4::NEG_INFINITY; 3],
        },
        children: [0; 4],
    };

    fn put(&mut self, slot: usize, child: &Part, name: u32) {
        for axis in 0..3 {
            self.boxes.low[axis][slot] = child.low[axis];
            self.boxes.high[axis][slot] = child.high[axis];
        }
        self.children[slot] = name;
    }
}

/// A part of the binary tree: a facet, or two parts of which `pair` is the place.
#[derive(Clone, Copy)]
struct Part {
    low: Vec3,
    high: Vec3,
    facet: Option<u32>,
    pair: u32,
}

impl Part {
    fn of(node: &BvhNode) -> Self {
        Self {
            low: Vec3::from_array(node.mins().to_array()),
            high: Vec3::from_array(node.maxs().to_array()),
            facet: node.leaf_data(),
            pair: 0,
        }
    }

    /// Half the area of the box; a facet is never opened, so it has none.
    fn weight(&self) -> f32 {
        if self.facet.is_some() {
            return f32::NEG_INFINITY;
        }
        let size = self.high - self.low;
        size.x * size.y + size.y * size.z + size.z * size.x
    }
}

/// The tree. Facets are named by the numbers the binary tree had for them.
pub(super) struct Wide {
    nodes: Vec<Node>,
    /// Nodes on the longest way from the root.
    depth: usize,
}

impl Wide {
    /// Folds a binary tree that holds fewer than 2³¹ facets.
    pub(super) fn folded(binary: &Bvh) -> Self {
        let parts = parts_of(binary);
        let mut nodes = vec![Node::EMPTY];
        if let [only] = parts[..] {
            nodes[0].put(0, &only, FACET | only.facet.unwrap_or(0));
            return Self { nodes, depth: 1 };
        }
        // Depth first, so that what lies together is stored together.
        let mut depth = 0;
        let mut open = vec![(0usize, 0usize, 1usize)];
        while let Some((node, pair, level)) = open.pop() {
            depth = depth.max(level);
            let children = opened(&parts, pair);
            for (slot, child) in children.iter().enumerate() {
                let name = match child.facet {
                    Some(facet) => FACET | facet,
                    None => {
                        let name = nodes.len();
                        nodes.push(Node::EMPTY);
                        open.push((name, child.pair as usize, level + 1));
                        name as u32
                    }
                };
                nodes[node].put(slot, child, name);
            }
        }
        Self { nodes, depth }
    }

    /// Looks for the facet of least cost. `costs` bounds from below what the facets in four
    /// boxes cost, infinite for a box to be left out; `visit` gives a facet's own cost, if
    /// that is the least so far. Boxes above the least cost, `most` at first, are not opened.
    #[inline]
    pub(super) fn search(
        &self,
        most: f32,
        costs: impl Fn(&Boxes) -> Vec4,
        visit: impl FnMut(u32) -> Option<f32>,
    ) {
        // What waits at most: three children of each node on the way down, and a last one.
        let waiting = 3 * self.depth + 1;
        let least = most.min(f32::MAX);
        if waiting <= USUAL {
            self.search_with(&mut [(0.0, 0); USUAL], least, costs, visit);
        } else {
            self.search_with(&mut vec![(0.0, 0); waiting], least, costs, visit);
        }
    }

    #[inline]
    fn search_with(
        &self,
        stack: &mut [(f32, u32)],
        mut least: f32,
        costs: impl Fn(&Boxes) -> Vec4,
        mut visit: impl FnMut(u32) -> Option<f32>,
    ) {
        // The root lies there already.
        let mut waiting = 1;
        while waiting > 0 {
            waiting -= 1;
            let (cost, name) = stack[waiting];
            if cost > least {
                continue;
            }
            if name & FACET != 0 {
                if let Some(cost) = visit(name & !FACET) {
                    least = cost;
                }
                continue;
            }
            let node = &self.nodes[name as usize];
            let costs = costs(&node.boxes);
            let mut near = costs.cmple(Vec4::splat(least)).bitmask();
            let costs = costs.to_array();
            let first = waiting;
            while near != 0 {
                let slot = (near.trailing_zeros() & 3) as usize;
                near &= near - 1;
                // The dearest lies lowest; four at most, so they are sorted as they come.
                let (cost, name) = (costs[slot], node.children[slot]);
                let mut at = waiting;
                while at > first && stack[at - 1].0 < cost {
                    stack[at] = stack[at - 1];
                    at -= 1;
                }
                stack[at] = (cost, name);
                waiting += 1;
            }
        }
    }
}

/// The parts in pairs, each before what it is made of: the first pair makes up the whole.
/// A lone facet stands alone.
fn parts_of(binary: &Bvh) -> Vec<Part> {
    let mut parts = Vec::with_capacity(2 * binary.leaf_count() as usize);
    binary.traverse(|node| {
        parts.push(Part::of(node));
        TraversalAction::Continue
    });
    // The traversal goes on with what the first of a pair is made of, then the second.
    let mut waiting = Vec::new();
    for pair in 0..parts.len() / 2 {
        if let Some(whole) = waiting.pop() {
            let whole: &mut Part = &mut parts[whole];
            whole.pair = pair as u32;
        }
        let inner = [2 * pair + 1, 2 * pair].into_iter();
        waiting.extend(inner.filter(|&part| parts[part].facet.is_none()));
    }
    parts
}

/// Up to four parts that make up a pair: the larger ones are opened.
fn opened(parts: &[Part], pair: usize) -> SmallVec<[Part; 4]> {
    let mut open = SmallVec::<[Part; 4]>::from_slice(&parts[2 * pair..2 * pair + 2]);
    while open.len() < 4 {
        let weights = open.iter().map(Part::weight).enumerate();
        let Some((widest, _)) = weights
            .filter(|(_, w)| *w > f32::NEG_INFINITY)
            .max_by(|a, b| a.1.total_cmp(&b.1))
        else {
            break;
        };
        let pair = open.swap_remove(widest).pair as usize;
        open.extend_from_slice(&parts[2 * pair..2 * pair + 2]);
    }
    open
}
