//! Facets that cross others: found in a tree of boxes, told by exact predicates.
//!
//! Two facets cross where the insides of both have a line in common, and overlap where they
//! lie in one plane, face the same way and share some area. Those that cross no deeper than
//! coordinates are rounded do not count. Facets that only touch, as where solids stand side
//! by side, do neither. Source of the predicates: Shewchuk, Adaptive Precision
//! Floating-Point Arithmetic and Fast Robust Geometric Predicates, 1997.

use std::sync::atomic::{AtomicU64, Ordering};

use glam::{DVec2, DVec3, Vec3};
use rayon::prelude::*;
use robust::{Coord, Coord3D, orient2d, orient3d};
use serde::Serialize;
use smallvec::SmallVec;

use super::Tally;
use super::apart::{fan_out, stay_apart};
use crate::Mesh;
use crate::mesh::Parts;

/// Facets in a leaf of the tree.
const LEAF: usize = 8;

/// Pairs of facets with boxes that meet which are looked at, for each facet, before the
/// search is given up. Sound meshes need about twelve.
const MOST_PAIRS: u64 = 256;

/// Where facets cross.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Crossings {
    /// Pairs of facets of which one passes through the other.
    pub crossing: Tally,
    /// Pairs of facets that lie on one another, facing the same way.
    pub overlapping: Tally,
    /// Pairs of shells that cross or lie on one another; a shell beside itself crosses itself.
    pub shells: Vec<(u32, u32)>,
    /// Whether so many facets lie so near to each other that not all pairs were looked at.
    pub given_up: bool,
}

impl Crossings {
    /// How many pairs cross or overlap.
    pub fn count(&self) -> usize {
        self.crossing.count + self.overlapping.count
    }

    /// Whether a shell passes through itself.
    pub(crate) fn cross_themselves(&self) -> bool {
        self.shells.iter().any(|(a, b)| a == b)
    }

    /// Of pairs that were found, with the shells that their facets are of.
    pub(super) fn of(mesh: &Mesh, pairs: Pairs, parts: &Parts) -> Self {
        let mut crossings = Self {
            given_up: pairs.given_up,
            ..Self::default()
        };
        for one in pairs.found {
            let tally = match one.how {
                Meeting::Cross => &mut crossings.crossing,
                Meeting::Overlap => &mut crossings.overlapping,
            };
            tally.add(|| one.at(mesh));
            let [a, b] = [one.a, one.b].map(|f| parts.of_facet(f as usize));
            crossings.shells.push((a.min(b), a.max(b)));
        }
        crossings.shells.sort_unstable();
        crossings.shells.dedup();
        crossings
    }
}

/// Pairs of facets that cross or overlap, in order.
pub(super) struct Pairs {
    found: Vec<Found>,
    given_up: bool,
}

impl Pairs {
    /// Looks at all pairs of facets with boxes that meet; time about n log n.
    pub(super) fn find(mesh: &Mesh) -> Self {
        let tree = Tree::new(mesh);
        let looked = AtomicU64::new(0);
        let most = MOST_PAIRS * mesh.triangles().len() as u64 + 1_000_000;
        let leaves: Vec<usize> = tree.leaves().collect();
        let mut found: Vec<Found> = leaves
            .par_iter()
            .flat_map_iter(|&leaf| {
                let mut found = Vec::new();
                if looked.load(Ordering::Relaxed) <= most {
                    let pairs = tree.look(mesh, leaf, |_| true, |_, _| true, &mut found);
                    looked.fetch_add(pairs, Ordering::Relaxed);
                }
                found
            })
            .collect();
        found.sort_unstable_by_key(|f| (f.a, f.b));
        Self {
            given_up: looked.into_inner() > most,
            found,
        }
    }
}

/// Pairs of facets that cross or overlap, of which at least one is fresh.
pub(crate) fn crossing_pairs(mesh: &Mesh, fresh: &[bool]) -> Vec<(u32, u32)> {
    let tree = Tree::new(mesh);
    let is_fresh = |facet: &u32| fresh.get(*facet as usize).copied().unwrap_or(false);
    let mut has_fresh = vec![false; 2 << tree.levels];
    for leaf in tree.leaves() {
        has_fresh[leaf] = tree.facets(leaf).iter().any(is_fresh);
    }
    for node in (1..1 << tree.levels).rev() {
        has_fresh[node] = has_fresh[2 * node] || has_fresh[2 * node + 1];
    }
    let leaves: Vec<usize> = tree.leaves().collect();
    let mut found: Vec<(u32, u32)> = leaves
        .par_iter()
        .flat_map_iter(|&leaf| {
            let mut found = Vec::new();
            let wanted = |node: usize| has_fresh[leaf] || has_fresh[node];
            let either = |a: &u32, b: &u32| is_fresh(a) || is_fresh(b);
            tree.look(mesh, leaf, wanted, either, &mut found);
            found.into_iter().map(|f| (f.a, f.b))
        })
        .collect();
    found.sort_unstable();
    found
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Meeting {
    Cross,
    Overlap,
}

struct Found {
    a: u32,
    b: u32,
    how: Meeting,
}

impl Found {
    /// The middle of what the two facets' boxes share.
    fn at(&self, mesh: &Mesh) -> DVec3 {
        let [a, b] = [self.a, self.b].map(|f| around(mesh.corners(f as usize)));
        a.0.max(b.0).midpoint(a.1.min(b.1))
    }
}

/// The least and the greatest corner of the box around a facet.
fn around([a, b, c]: [DVec3; 3]) -> (DVec3, DVec3) {
    (a.min(b).min(c), a.max(b).max(c))
}

/// A box in the tree's frame.
#[derive(Clone, Copy)]
struct Bounds {
    low: Vec3,
    high: Vec3,
}

impl Bounds {
    const NOTHING: Self = Self {
        low: Vec3::INFINITY,
        high: Vec3::NEG_INFINITY,
    };

    fn with(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// Where it begins and, with other signs, where it ends: what [`Wide::meets`] compares.
    #[inline]
    fn wide(&self) -> Wide {
        let ([x, y, z], [u, v, w]) = (self.low.to_array(), self.high.to_array());
        Wide([x, y, z, 0.0, -u, -v, -w, 0.0])
    }

    /// What [`Wide::meets`] compares with another box.
    #[inline]
    fn limits(&self) -> Wide {
        let ([x, y, z], [u, v, w]) = (self.low.to_array(), self.high.to_array());
        Wide([u, v, w, 0.0, -x, -y, -z, 0.0])
    }
}

/// A box laid out for registers.
#[derive(Clone, Copy)]
struct Wide([f32; 8]);

impl Wide {
    /// Whether this box meets the one with these limits.
    #[inline]
    fn meets(&self, limits: &Self) -> bool {
        // All are compared: eight at once take less time than one after the other.
        let pairs = self.0.iter().zip(&limits.0);
        pairs.fold(true, |all, (a, b)| all & (a <= b))
    }
}

/// A balanced binary tree over the facets, halved at the median of the widest axis. The root
/// is node 1, the children of `n` are `2n` and `2n + 1`, and all leaves are on one level.
///
/// Boxes are in single precision, in a frame of −1 to 1 about the mesh. Rounding keeps the order of
/// coordinates, so boxes that meet still do; some meet that did not, which costs a look at the facets.
struct Tree {
    /// Facets, those of a leaf side by side.
    order: Vec<u32>,
    /// Boxes of the facets, by their numbers.
    facets: Vec<Bounds>,
    /// Boxes of the nodes.
    nodes: Vec<Bounds>,
    levels: u32,
    /// Crossings no deeper than this do not count, mm.
    shallow_mm: f64,
}

impl Tree {
    fn new(mesh: &Mesh) -> Self {
        let count = mesh.triangles().len();
        let levels = count.div_ceil(LEAF).next_power_of_two().ilog2();
        let (low, high) = mesh.bounds();
        let centre = low * 0.5 + high * 0.5;
        let half_mm = (high - centre).max_element().max(f64::MIN_POSITIVE);
        let framed = |p: DVec3| ((p - centre) / half_mm).as_vec3();
        let bounds = |facet| {
            let (low, high) = around(mesh.corners(facet));
            Bounds {
                low: framed(low),
                high: framed(high),
            }
        };
        let facets: Vec<Bounds> = (0..count).into_par_iter().map(bounds).collect();
        let mut order: Vec<u32> = (0..count as u32).collect();
        halve(&facets, &mut order, levels);
        let mut tree = Self {
            order,
            facets,
            nodes: Vec::new(),
            levels,
            shallow_mm: shallow_mm(mesh),
        };
        let mut nodes = vec![Bounds::NOTHING; 2 << levels];
        let leaves = nodes[tree.leaves()].par_iter_mut().zip(tree.leaves());
        leaves.for_each(|(bounds, leaf)| {
            let facets = tree.facets(leaf).iter();
            let all = facets.map(|&f| tree.facets[f as usize]);
            *bounds = all.fold(Bounds::NOTHING, Bounds::with);
        });
        for node in (1..1 << levels).rev() {
            nodes[node] = nodes[2 * node].with(nodes[2 * node + 1]);
        }
        tree.nodes = nodes;
        tree
    }

    fn leaves(&self) -> std::ops::Range<usize> {
        1 << self.levels..2 << self.levels
    }

    /// The facets of a leaf: halving is the same at every level, so they follow from its number.
    fn facets(&self, leaf: usize) -> &[u32] {
        let (mut begin, mut end) = (0, self.order.len());
        for level in (0..self.levels).rev() {
            let middle = begin + (end - begin) / 2;
            match leaf >> level & 1 {
                0 => end = middle,
                _ => begin = middle,
            }
        }
        &self.order[begin..end]
    }

    /// Looks at a leaf's facets beside those of this and all later leaves, beneath nodes and of
    /// pairs that are wanted; tells how many pairs were compared.
    fn look(
        &self,
        mesh: &Mesh,
        leaf: usize,
        wanted: impl Fn(usize) -> bool,
        either: impl Fn(&u32, &u32) -> bool,
        found: &mut Vec<Found>,
    ) -> u64 {
        let mine = self.facets(leaf);
        let bounds = |f: &u32| self.facets[*f as usize];
        let boxes: SmallVec<[Wide; LEAF]> = mine.iter().map(|f| bounds(f).wide()).collect();
        let around = self.nodes[leaf].wide();
        let mut pairs = 0;
        let mut pending = vec![1];
        while let Some(node) = pending.pop() {
            // The last leaf beneath the node must not come before this one.
            let beneath = self.levels - (node as u32).ilog2();
            let before = ((node + 1) << beneath) <= leaf;
            if before || !wanted(node) || !around.meets(&self.nodes[node].limits()) {
                continue;
            }
            if beneath > 0 {
                pending.extend([2 * node, 2 * node + 1]);
                continue;
            }
            for (j, theirs) in self.facets(node).iter().enumerate() {
                let limits = bounds(theirs).limits();
                if !around.meets(&limits) {
                    continue;
                }
                let before = if node == leaf { j } else { mine.len() };
                for (facet, own) in mine.iter().zip(&boxes).take(before) {
                    if own.meets(&limits) && either(facet, theirs) {
                        pairs += 1;
                        let (a, b) = (*facet.min(theirs), *facet.max(theirs));
                        let how = meeting(mesh, a, b, self.shallow_mm);
                        found.extend(how.map(|how| Found { a, b, how }));
                    }
                }
            }
        }
        pairs
    }
}

fn halve(facets: &[Bounds], order: &mut [u32], levels: u32) {
    if levels == 0 {
        return;
    }
    // Twice the middle: only the order counts.
    let middle = |f: u32| facets[f as usize].low + facets[f as usize].high;
    let start = (Vec3::INFINITY, Vec3::NEG_INFINITY);
    let (low, high) = order.iter().fold(start, |(low, high), &f| {
        let p = middle(f);
        (low.min(p), high.max(p))
    });
    let axis = (high - low).max_position();
    let at = order.len() / 2;
    if at < order.len() {
        let along = |f: u32| facets[f as usize].low[axis] + facets[f as usize].high[axis];
        order.select_nth_unstable_by(at, |a, b| along(*a).total_cmp(&along(*b)));
    }
    let (left, right) = order.split_at_mut(at);
    rayon::join(
        || halve(facets, left, levels - 1),
        || halve(facets, right, levels - 1),
    );
}

/// How two facets meet, beyond the corners that they share.
fn meeting(mesh: &Mesh, a: u32, b: u32, shallow: f64) -> Option<Meeting> {
    let (ids, their_ids) = (mesh.triangles()[a as usize], mesh.triangles()[b as usize]);
    let own = mesh.corners(a as usize);
    let theirs = mesh.corners(b as usize);
    let mut shared = (0..3).filter(|&i| their_ids.contains(&ids[i]));
    match (shared.next(), shared.next()) {
        // Neighbours, or doubles, which are counted elsewhere.
        (_, Some(_)) => None,
        _ if own == theirs => None,
        (Some(corner), None) if fan_out(own, theirs, own[corner]) => None,
        (None, _) if stay_apart(own, theirs) => None,
        _ => met(own, theirs, shallow),
    }
}

/// How two facets meet, told by exact predicates.
pub(super) fn met(own: [DVec3; 3], theirs: [DVec3; 3], shallow: f64) -> Option<Meeting> {
    // A corner that both have lies in both planes; only the slowest predicate would tell.
    let side = |of: [DVec3; 3], p: DVec3| if of.contains(&p) { 0 } else { sign3(of, p) };
    let their_sides = theirs.map(|p| side(own, p));
    if their_sides == [0, 0, 0] {
        return overlap(own, theirs).then_some(Meeting::Overlap);
    }
    let is_split = |sides: [i8; 3]| sides.contains(&1) && sides.contains(&-1);
    if !is_split(their_sides) {
        return None;
    }
    let own_sides = own.map(|p| side(theirs, p));
    let crosses = is_split(own_sides)
        && (pierces(theirs, their_sides, own)
            || pierces(own, own_sides, theirs)
            || share_line(own, own_sides, theirs, their_sides));
    (crosses && depth(own, theirs).min(depth(theirs, own)) > shallow).then_some(Meeting::Cross)
}

/// How deep a facet reaches to either side of another's plane, mm, the lesser of both.
fn depth(facet: [DVec3; 3], [a, b, c]: [DVec3; 3]) -> f64 {
    let normal = (b - a).cross(c - a).normalize_or_zero();
    let [x, y, z] = facet.map(|p| (p - a).dot(normal));
    x.max(y).max(z).min(-x.min(y).min(z))
}

/// What rounding in single precision may do to a part of this size, mm, and in double
/// precision to coordinates as great as these: facets that cross no deeper do not count.
fn shallow_mm(mesh: &Mesh) -> f64 {
    let (low, high) = mesh.bounds();
    let biggest = low.abs().max(high.abs()).max_element();
    1e-7 * (high - low).max_element() + 1e-13 * biggest
}

/// Stretches that two facets have in common are told from points by this share of their size.
const STRETCH: f64 = 1e-9;

/// Whether two facets, each with corners on both sides of the other's plane, have more than a
/// point in common on the line in which the planes meet. What of it each facet covers is
/// computed, not exact; it finds those that cross where only sides and corners meet.
fn share_line(
    own: [DVec3; 3],
    own_sides: [i8; 3],
    theirs: [DVec3; 3],
    their_sides: [i8; 3],
) -> bool {
    let origin = own[0];
    let [own, theirs] = [own, theirs].map(|facet| facet.map(|p| p - origin));
    let normal = |[a, b, c]: [DVec3; 3]| (b - a).cross(c - a).normalize_or_zero();
    let (n, their_n) = (normal(own), normal(theirs));
    let Some(along) = n.cross(their_n).try_normalize() else {
        return false;
    };
    let stretch = |facet: [DVec3; 3], sides: [i8; 3], plane: DVec3, on: DVec3| {
        let mut ends = (f64::INFINITY, f64::NEG_INFINITY);
        let mut meet = |p: DVec3| {
            let place = p.dot(along);
            ends = (ends.0.min(place), ends.1.max(place));
        };
        for i in 0..3 {
            let j = (i + 1) % 3;
            if sides[i] == 0 {
                meet(facet[i]);
            } else if sides[i] * sides[j] < 0 {
                let [from, to] = [i, j].map(|k| (facet[k] - on).dot(plane));
                let t = (from / (from - to)).clamp(0.0, 1.0);
                meet(facet[i].lerp(facet[j], if t.is_nan() { 0.5 } else { t }));
            }
        }
        ends
    };
    let mine = stretch(own, own_sides, their_n, theirs[0]);
    let other = stretch(theirs, their_sides, n, own[0]);
    let [a, b] = [own, theirs].map(|[a, b, c]| a.distance(b).max(b.distance(c)));
    mine.1.min(other.1) - mine.0.max(other.0) > STRETCH * a.max(b)
}

/// Whether a side of `facet`, whose corners lie on these sides of the plane of `other`,
/// passes through the inside of `other`.
fn pierces(facet: [DVec3; 3], sides: [i8; 3], other: [DVec3; 3]) -> bool {
    let [a, b, c] = other;
    (0..3).any(|i| {
        let j = (i + 1) % 3;
        sides[i] * sides[j] < 0 && {
            let (p, q) = (facet[i], facet[j]);
            let turns = [(a, b), (b, c), (c, a)].map(|(from, to)| sign3([p, q, from], to));
            turns == [1, 1, 1] || turns == [-1, -1, -1]
        }
    })
}

/// Whether two facets in one plane face the same way and share some area.
fn overlap(own: [DVec3; 3], theirs: [DVec3; 3]) -> bool {
    let normal = |[a, b, c]: [DVec3; 3]| (b - a).cross(c - a);
    let facing = normal(own);
    if facing.dot(normal(theirs)) <= 0.0 {
        return false;
    }
    // Seen along the axis that the plane is most square to: exact, since nothing is computed.
    let axis = facing.abs().max_position();
    let flat = |p: DVec3| DVec2::new(p[(axis + 1) % 3], p[(axis + 2) % 3]);
    let upright = |[a, b, c]: [DVec3; 3]| match facing[axis] > 0.0 {
        true => [flat(a), flat(b), flat(c)],
        false => [flat(a), flat(c), flat(b)],
    };
    let (own, theirs) = (upright(own), upright(theirs));
    !parted(own, theirs) && !parted(theirs, own)
}

/// Whether a side of the first triangle, which runs counter-clockwise, has all of the second
/// on its outside or on it.
fn parted(first: [DVec2; 3], second: [DVec2; 3]) -> bool {
    let coord = |v: DVec2| Coord { x: v.x, y: v.y };
    (0..3).any(|i| {
        let (a, b) = (first[i], first[(i + 1) % 3]);
        second
            .iter()
            .all(|p| orient2d(coord(a), coord(b), coord(*p)) <= 0.0)
    })
}

/// On which side of a facet's plane a point lies: 1, 0 or −1, exact.
fn sign3([a, b, c]: [DVec3; 3], p: DVec3) -> i8 {
    let coord = |v: DVec3| Coord3D {
        x: v.x,
        y: v.y,
        z: v.z,
    };
    match orient3d(coord(a), coord(b), coord(c), coord(p)) {
        s if s > 0.0 => 1,
        s if s < 0.0 => -1,
        _ => 0,
    }
}
