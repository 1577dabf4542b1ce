//! How the tree is made: the facets are cut in two, again and again, where that makes the
//! boxes small, until eight or fewer are left for a node.
//!
//! Source: I. Wald, "On fast Construction of SAH-based Bounding Volume Hierarchies",
//! *IEEE Symposium on Interactive Ray Tracing* 2007 (from memory): the places to cut at are the
//! bounds of equal bins, and the best has the least sum of areas times counts.
//!
//! The first cuts are made on the facets' numbers alone. What is left are parts of the skin
//! small enough to note their boxes, one part a core, so that little memory is needed besides
//! the tree's own.

use std::ops::Range;

use glam::Vec3A;
use rayon::prelude::*;
use smallvec::SmallVec;

use super::node::{Bounds, Child, FACET, Node, WIDTH};
use super::traverse::Bvh8;

/// Facets whose boxes are noted at a time.
const PART: usize = 1 << 16;

/// Places to cut at, along each axis.
const BINS: usize = 16;

/// Builds the tree over fewer than 2³¹ facets, given the box of each.
pub(super) fn build(count: u32, bounds_of: impl Fn(u32) -> Bounds + Sync) -> Bvh8 {
    let mut facets: Vec<u32> = (0..count).collect();
    let ranges = in_parts(&mut facets, 0, &bounds_of);
    let mut nodes = Vec::new();
    let mut parts = Vec::with_capacity(ranges.len());
    for ranges in ranges.chunks(rayon::current_num_threads()) {
        let built = ranges.par_iter().map(|range| {
            let facets = &facets[range.clone()];
            part_over(facets, &bounds_of)
        });
        for (part, over) in built.collect::<Vec<_>>() {
            let name = append(&mut nodes, over);
            parts.push(Item {
                child: Child { name, ..part.child },
                ..part
            });
        }
    }
    if let [only] = &parts[..] {
        return Bvh8::new(nodes, only.child.name);
    }
    let root = nodes.len() as u32;
    nodes.extend(nodes_over(&mut parts, root));
    nodes.shrink_to_fit();
    Bvh8::new(nodes, root)
}

/// Appends a tree's nodes to others; says where its root is then.
fn append(nodes: &mut Vec<Node>, mut tree: Vec<Node>) -> u32 {
    let begin = nodes.len() as u32;
    tree.iter_mut().for_each(|node| node.shift(begin));
    nodes.append(&mut tree);
    begin
}

/// Brings the facets into an order in which those of a part follow each other; `begin` is where
/// the first of them is among all.
fn in_parts(
    facets: &mut [u32],
    begin: usize,
    bounds_of: &(impl Fn(u32) -> Bounds + Sync),
) -> Vec<Range<usize>> {
    if facets.len() <= PART {
        return std::iter::once(begin..begin + facets.len()).collect();
    }
    let middle = cut(facets, |&f| (bounds_of(f), 1));
    let (lower, upper) = facets.split_at_mut(middle);
    let (mut parts, others) = rayon::join(
        || in_parts(lower, begin, bounds_of),
        || in_parts(upper, begin + middle, bounds_of),
    );
    parts.extend(others);
    parts
}

/// The nodes over a part of the facets, and what is to be known of it above.
fn part_over(facets: &[u32], bounds_of: &impl Fn(u32) -> Bounds) -> (Item, Vec<Node>) {
    let item = |&facet: &u32| Item {
        child: Child {
            bounds: bounds_of(facet),
            name: FACET | facet,
        },
        weight: 1,
    };
    let mut items: Vec<Item> = facets.iter().map(item).collect();
    let part = Item {
        child: Child {
            bounds: bounds(&items),
            name: 0,
        },
        weight: facets.len() as u32,
    };
    (part, nodes_over(&mut items, 0))
}

/// A child to be, and how many facets it stands for.
#[derive(Clone, Copy)]
struct Item {
    child: Child,
    weight: u32,
}

fn bounds(items: &[Item]) -> Bounds {
    let all = items.iter().map(|item| item.child.bounds);
    all.fold(Bounds::NOTHING, Bounds::and)
}

/// The nodes of a tree over items, named from `begin` on, its root first, depth first: what
/// lies together is stored together.
fn nodes_over(items: &mut [Item], begin: u32) -> Vec<Node> {
    let mut nodes = Vec::with_capacity(items.len() / 5 + 1);
    // Which child of which node the items are to be, to be told once they are a node.
    let mut open = vec![(0..items.len(), None::<(usize, usize)>)];
    while let Some((range, place)) = open.pop() {
        let this = nodes.len();
        if let Some((node, slot)) = place {
            let node: &mut Node = &mut nodes[node];
            node.name(slot, begin + this as u32);
        }
        let start = range.start;
        let items = &mut items[range];
        if items.len() <= WIDTH {
            let children: SmallVec<[Child; WIDTH]> = items.iter().map(|i| i.child).collect();
            nodes.push(Node::of(&children));
            continue;
        }
        let groups = groups_of(items);
        let children: SmallVec<[Child; WIDTH]> = groups
            .iter()
            .map(|(range, bounds)| Child {
                bounds: *bounds,
                name: match &items[range.clone()] {
                    [only] => only.child.name,
                    _ => 0,
                },
            })
            .collect();
        nodes.push(Node::of(&children));
        for (slot, (range, _)) in groups.iter().enumerate().rev() {
            if range.len() > 1 {
                let range = start + range.start..start + range.end;
                open.push((range, Some((this, slot))));
            }
        }
    }
    nodes
}

type Groups = SmallVec<[(Range<usize>, Bounds); WIDTH]>;

/// Up to eight groups of the items, each in a row: the largest is cut, as long as it holds more
/// than a node does.
fn groups_of(items: &mut [Item]) -> Groups {
    let mut groups = Groups::new();
    groups.push((0..items.len(), bounds(items)));
    while groups.len() < WIDTH {
        let large = groups.iter().enumerate().filter(|(_, g)| g.0.len() > WIDTH);
        let largest = large.max_by(|(_, a), (_, b)| a.1.half_area().total_cmp(&b.1.half_area()));
        let Some((largest, _)) = largest else {
            break;
        };
        let (range, _) = groups.swap_remove(largest);
        let seen = |item: &Item| (item.child.bounds, item.weight);
        let middle = range.start + cut(&mut items[range.clone()], seen);
        for half in [range.start..middle, middle..range.end] {
            groups.push((half.clone(), bounds(&items[half])));
        }
    }
    groups
}

/// Cuts two or more items in two, and says how many are before the cut. `seen` tells the box of
/// an item and its weight.
fn cut<T: Copy + Sync>(items: &mut [T], seen: impl Fn(&T) -> (Bounds, u32) + Sync) -> usize {
    let half = items.len() / 2;
    // Twice the middles of the boxes: only their order matters.
    let middle = |item: &T| {
        let (bounds, _) = seen(item);
        bounds.low + bounds.high
    };
    let middles = |items: &[T]| {
        let places = items.iter().map(middle);
        places.fold(Bounds::NOTHING, |all, at| {
            all.and(Bounds { low: at, high: at })
        })
    };
    let Bounds { low, high } = over(items, middles, Bounds::and);
    let size = high - low;
    let per_bin = Vec3A::from_array(size.to_array().map(|size| match size > 0.0 {
        true => BINS as f32 / size,
        false => 0.0,
    }));
    let bin_of = |item: &T| ((middle(item) - low) * per_bin).to_array();
    let index = |place: f32| (place as usize).min(BINS - 1);
    let binned = |items: &[T]| {
        let mut bins: Bins = [[(Bounds::NOTHING, 0); BINS]; 3];
        for item in items.iter() {
            let (bounds, weight) = seen(item);
            for (bins, place) in bins.iter_mut().zip(bin_of(item)) {
                let (all, count) = &mut bins[index(place)];
                *all = all.and(bounds);
                *count += u64::from(weight);
            }
        }
        bins
    };
    let bins = over(items, binned, both);
    let Some((axis, bin)) = best_cut(&bins) else {
        return half;
    };
    let before = partition(items, |item| index(bin_of(item)[axis]) < bin);
    match before > 0 && before < items.len() {
        true => before,
        false => half,
    }
}

/// By axis, what falls into each bin: its box and its weight.
type Bins = [[(Bounds, u64); BINS]; 3];

/// What falls into the bins of the one or of the other.
fn both(mut one: Bins, other: Bins) -> Bins {
    let bins = one.iter_mut().flatten().zip(other.iter().flatten());
    bins.for_each(|(bin, more)| *bin = (bin.0.and(more.0), bin.1 + more.1));
    one
}

/// What is found of some items, joined from what is found of parts of them on all cores where they
/// are many. In whatever order it is joined, boxes and counts come out the same.
fn over<T: Sync, R: Send>(
    items: &[T],
    find: impl Fn(&[T]) -> R + Sync,
    join: impl Fn(R, R) -> R + Sync + Send,
) -> R {
    if items.len() <= PART {
        return find(items);
    }
    let parts = items.par_chunks(PART / 2).map(&find);
    parts.reduce_with(join).unwrap_or_else(|| find(&[]))
}

/// The axis, and the bin to cut before; none if all fall into one bin on every axis.
fn best_cut(bins: &Bins) -> Option<(usize, usize)> {
    let mut best = (f32::INFINITY, None);
    for (axis, bins) in bins.iter().enumerate() {
        let mut after = [0.0; BINS];
        let mut all = (Bounds::NOTHING, 0);
        let cost = |(bounds, count): (Bounds, u64)| bounds.half_area() * count as f32;
        for bin in (1..BINS).rev() {
            all = (all.0.and(bins[bin].0), all.1 + bins[bin].1);
            after[bin] = if all.1 > 0 { cost(all) } else { f32::INFINITY };
        }
        let mut all = (Bounds::NOTHING, 0);
        for bin in 1..BINS {
            all = (all.0.and(bins[bin - 1].0), all.1 + bins[bin - 1].1);
            let before = if all.1 > 0 { cost(all) } else { f32::INFINITY };
            let sum = before + after[bin];
            if sum < best.0 {
                best = (sum, Some((axis, bin)));
            }
        }
    }
    best.1
}

/// Brings the items of which something is true before the others; says how many they are.
fn partition<T>(items: &mut [T], first: impl Fn(&T) -> bool) -> usize {
    let (mut low, mut high) = (0, items.len());
    loop {
        while low < high && first(&items[low]) {
            low += 1;
        }
        while low < high && !first(&items[high - 1]) {
            high -= 1;
        }
        if low >= high {
            return low;
        }
        items.swap(low, high - 1);
    }
}
