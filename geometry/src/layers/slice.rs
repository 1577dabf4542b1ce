//! Contours: the outline of the part at one height.

use glam::{DVec2, DVec3};
use hashbrown::HashTable;
use serde::Serialize;

use super::{Contour, winding};
use crate::Mesh;
use crate::mesh::{Edges, orient};

/// Open contours whose ends lie this near each other are joined: it closes the cracks that
/// coarse file formats leave, and nothing that a printer could show.
const JOIN_MM: f64 = 1e-3;

/// The outline of the part at a height.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Section {
    /// Outer contours and holes, in no order.
    pub contours: Vec<Contour>,
    /// How many contour ends met no neighbouring facet: 0 unless the mesh has holes there
    /// or its facets disagree about which side is out.
    pub open_ends: u32,
    /// Whether outlines met or ran the wrong way round, so that they were drawn anew by the
    /// non-zero winding rule.
    pub redrawn: bool,
    /// Area that the outlines enclosed before they were drawn anew, mm²: what overlaps
    /// counts as often as it overlaps, and what faces inwards is taken away.
    pub drawn_area_mm2: f64,
}

/// How much of a cut's area overlapping outlines may change and still be rounding.
const ROUNDING: f64 = 1e-9;

impl Section {
    fn new(contours: Vec<Contour>, open_ends: u32) -> Self {
        let drawn_area_mm2 = contours.iter().map(Contour::area_mm2).sum();
        let redrawn = !winding::is_proper(&contours);
        Self {
            contours: match redrawn {
                true => winding::redrawn(&contours),
                false => contours,
            },
            open_ends,
            redrawn,
            drawn_area_mm2,
        }
    }

    /// Whether the facets alone tell the wrong area here: shells overlap or face inwards, or
    /// the surface is open.
    pub(crate) fn is_unsound(&self) -> bool {
        let (drawn, solid) = (self.drawn_area_mm2, self.area_mm2());
        self.open_ends > 0 || (self.redrawn && (drawn - solid).abs() > ROUNDING * solid.abs())
    }

    /// Area of plastic, mm²: outer contours less holes.
    pub fn area_mm2(&self) -> f64 {
        self.contours.iter().map(Contour::area_mm2).sum()
    }

    /// Length of all contours, mm.
    pub fn perimeter_mm(&self) -> f64 {
        self.contours.iter().map(Contour::length_mm).sum()
    }
}

/// Cuts a mesh at a height.
///
/// A vertex exactly at the height counts as above it. So a height that meets a flat facet
/// shows the plastic just beneath: a box is seen at its top, not at its bottom. By this
/// rule every side that crosses the height does so at one point, and the contours of a
/// closed mesh are closed. Where a mesh is open, the lines that remain are joined end to
/// end where they share a side or come within 0.001 mm, then across the nearest gaps, and
/// [`Section::open_ends`] tells.
///
/// Where shells cross or overlap, or face inwards, the outline is that of where they wind
/// about a point any number of times but 0, and [`Section::redrawn`] tells.
///
/// Contours of no area, as where a plane grazes a ridge, are left out.
///
/// ```
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// let block = geometry::solids::cuboid(geometry::DVec3::new(20.0, 10.0, 5.0))?;
/// let section = geometry::layers::slice(&block, 5.0);
/// assert_eq!(section.contours.len(), 1);
/// assert_eq!((section.area_mm2(), section.perimeter_mm()), (200.0, 60.0));
/// assert!(geometry::layers::slice(&block, 0.0).contours.is_empty());
/// # Ok(())
/// # }
/// ```
pub fn slice(mesh: &Mesh, z_mm: f64) -> Section {
    let section = slice_as_it_is(mesh, z_mm);
    if section.open_ends == 0 {
        return section;
    }
    // Perhaps it is not open, but has facets that face both ways.
    match orient::alike(mesh, &Edges::of(mesh)) {
        Some((turned, _)) => slice_as_it_is(&turned, z_mm),
        None => section,
    }
}

fn slice_as_it_is(mesh: &Mesh, z_mm: f64) -> Section {
    let segments: Vec<Segment> = (0..mesh.triangles().len())
        .filter_map(|facet| Segment::of(mesh, facet, z_mm))
        .collect();
    Chainer::default().chain(mesh, z_mm, &segments)
}

/// A side of a facet, the same from either facet: its vertices, lesser index first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Side(u64);

impl Side {
    #[inline]
    fn new(a: u32, b: u32) -> Self {
        Self(u64::from(a.min(b)) << 32 | u64::from(a.max(b)))
    }

    #[inline]
    fn hash(self) -> u64 {
        // Fibonacci hashing: Knuth, The Art of Computer Programming, vol. 3, 6.4. The high
        // half is folded down, since the table looks at both ends of the word.
        let product = self.0.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        product ^ product >> 32
    }

    /// Where it meets the height, given that one vertex is below and one is not.
    fn meets(self, mesh: &Mesh, z: f64) -> DVec2 {
        let at = |v: u64| mesh.vertices().get(v as usize).copied().unwrap_or_default();
        crossing(at(self.0 >> 32), at(self.0 & u64::from(u32::MAX)), z)
    }
}

/// The point at height `z` between two ends, computed from the lower to the upper one
/// whichever is given first, so that both facets of a side get the same bits.
#[inline]
fn crossing(a: DVec3, b: DVec3, z: f64) -> DVec2 {
    let (lower, upper) = if a.z < z { (a, b) } else { (b, a) };
    let t = (z - lower.z) / (upper.z - lower.z);
    lower.truncate() * (1.0 - t) + upper.truncate() * t
}

/// Where a facet crosses a height: a line from one of its sides to another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment {
    from: Side,
    to: Side,
    start: DVec2,
}

impl Segment {
    /// The segment of a facet, if it has vertices below the height and not below it.
    ///
    /// Going round the facet, the line begins on the side that goes down through the
    /// height and ends on the one that goes up: that puts the plastic on its left, and the
    /// neighbour, which walks a shared side the other way, goes on where this one ends.
    #[inline]
    pub(super) fn of(mesh: &Mesh, facet: usize, z: f64) -> Option<Self> {
        let ids = mesh.triangles()[facet];
        let corners = mesh.corners(facet);
        let below = corners.map(|p| p.z < z);
        let side_where = |from_below: bool| {
            (0..3).find(|&i| below[i] == from_below && below[(i + 1) % 3] != from_below)
        };
        let (down, up) = (side_where(false)?, side_where(true)?);
        Some(Self {
            from: Side::new(ids[down], ids[(down + 1) % 3]),
            to: Side::new(ids[up], ids[(up + 1) % 3]),
            start: crossing(corners[down], corners[(down + 1) % 3], z),
        })
    }
}

/// Strings segments together; kept between layers, so that its memory is used again.
#[derive(Default)]
pub(super) struct Chainer {
    /// Segments by the side they start from.
    starts: HashTable<u32>,
    visited: Vec<bool>,
}

/// An unfinished contour.
struct Chain {
    points: Vec<DVec2>,
    head: u32,
    from: Side,
    to: Side,
}

impl Chainer {
    pub(super) fn chain(&mut self, mesh: &Mesh, z: f64, segments: &[Segment]) -> Section {
        self.fill(segments);
        let mut contours = Vec::new();
        let mut open = Vec::<Chain>::new();
        for head in 0..segments.len() {
            if self.visited[head] {
                continue;
            }
            let (chain, met) = self.walk(segments, head as u32);
            match met {
                Some(met) if met == chain.head => push(&mut contours, chain.points, true),
                Some(met) => prepend(&mut open, chain, met),
                None => open.push(chain),
            }
        }
        let open_ends = 2 * open.len() as u32;
        for (points, closed) in join(mesh, z, open) {
            push(&mut contours, points, closed);
        }
        Section::new(contours, open_ends)
    }

    fn fill(&mut self, segments: &[Segment]) {
        self.starts.clear();
        self.visited.clear();
        self.visited.resize(segments.len(), false);
        let hash = |&i: &u32| segments[i as usize].from.hash();
        self.starts.reserve(segments.len(), hash);
        for i in 0..segments.len() as u32 {
            self.starts.insert_unique(hash(&i), i, hash);
        }
    }

    /// Follows segments from `head` until none goes on, or until one that was visited: the
    /// head itself where the contour closes, or the head of an earlier open chain.
    fn walk(&mut self, segments: &[Segment], head: u32) -> (Chain, Option<u32>) {
        let first = segments[head as usize];
        let mut chain = Chain {
            points: vec![first.start],
            head,
            from: first.from,
            to: first.to,
        };
        self.visited[head as usize] = true;
        loop {
            let goes_on = |&i: &u32| segments[i as usize].from == chain.to;
            let Ok(entry) = self.starts.find_entry(chain.to.hash(), goes_on) else {
                return (chain, None);
            };
            let (next, _) = entry.remove();
            if std::mem::replace(&mut self.visited[next as usize], true) {
                return (chain, Some(next));
            }
            chain.to = segments[next as usize].to;
            chain.points.push(segments[next as usize].start);
        }
    }
}

/// Puts a chain before the open chain that begins with the segment `met`.
fn prepend(open: &mut Vec<Chain>, mut chain: Chain, met: u32) {
    match open.iter_mut().find(|c| c.head == met) {
        Some(later) => {
            chain.points.append(&mut later.points);
            later.points = chain.points;
            later.head = chain.head;
            later.from = chain.from;
        }
        None => open.push(chain),
    }
}

/// Adds a contour, without repeated points, if it encloses or draws anything.
fn push(contours: &mut Vec<Contour>, mut points_mm: Vec<DVec2>, closed: bool) {
    points_mm.dedup();
    while closed && points_mm.len() > 1 && points_mm.first() == points_mm.last() {
        points_mm.pop();
    }
    if points_mm.len() >= if closed { 3 } else { 2 } {
        contours.push(Contour { points_mm, closed });
    }
}

/// The best answer for what an open mesh leaves: chains are joined at shared sides, even
/// where one runs backwards because its facets face the wrong way, and across small gaps.
fn join(mesh: &Mesh, z: f64, open: Vec<Chain>) -> Vec<(Vec<DVec2>, bool)> {
    let mut finished = Vec::new();
    let mut pending: Vec<Vec<DVec2>> = open
        .into_iter()
        .map(|mut chain| {
            chain.points.push(chain.to.meets(mesh, z));
            chain.points
        })
        .collect();
    // Longest first: it keeps its direction, and the short ones turn round to fit.
    pending.sort_by_key(|points| std::cmp::Reverse(points.len()));
    let mut ends = EndGrid::new(&pending);
    for i in 0..pending.len() {
        let mut points = std::mem::take(&mut pending[i]);
        if points.is_empty() {
            continue;
        }
        ends.forget(i);
        let closed = loop {
            let (Some(&first), Some(&last)) = (points.first(), points.last()) else {
                break false;
            };
            if points.len() > 2 && first.distance(last) <= JOIN_MM {
                points.pop();
                break true;
            }
            if let Some((next, at_end)) = ends.near(last) {
                let mut more = std::mem::take(&mut pending[next]);
                ends.forget(next);
                if at_end {
                    more.reverse();
                }
                points.pop();
                points.append(&mut more);
            } else if let Some((next, at_end)) = ends.near(first) {
                let mut more = std::mem::take(&mut pending[next]);
                ends.forget(next);
                if !at_end {
                    more.reverse();
                }
                more.pop();
                more.append(&mut points);
                points = more;
            } else {
                break false;
            }
        };
        finished.push((points, closed));
    }
    bridge(finished)
}

/// The most open lines at one height that are joined across wide gaps.
const MOST_BRIDGED: usize = 256;

/// Joins open lines head to tail across the nearest gaps, as a film over each hole would; a
/// line may close on itself. They stay open, since nothing is drawn in a gap.
fn bridge(lines: Vec<(Vec<DVec2>, bool)>) -> Vec<(Vec<DVec2>, bool)> {
    let (mut lines, mut open): (Vec<_>, Vec<_>) = lines.into_iter().partition(|line| line.1);
    if open.len() < 2 || open.len() > MOST_BRIDGED {
        lines.extend(open);
        return lines;
    }
    let mut gaps = Vec::with_capacity(open.len() * open.len());
    for (from, (line, _)) in open.iter().enumerate() {
        for (to, (next, _)) in open.iter().enumerate() {
            if let (Some(tail), Some(head)) = (line.last(), next.first()) {
                gaps.push((tail.distance(*head), from, to));
            }
        }
    }
    gaps.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut next = vec![None; open.len()];
    let mut has_before = vec![false; open.len()];
    for (_, from, to) in gaps {
        if next[from].is_none() && !has_before[to] {
            next[from] = Some(to);
            has_before[to] = true;
        }
    }
    for first in 0..open.len() {
        let mut points = Vec::new();
        let mut at = Some(first);
        while let Some(line) = at {
            points.append(&mut open[line].0);
            at = next[line].take();
        }
        if !points.is_empty() {
            lines.push((points, false));
        }
    }
    lines
}

/// The ends of open chains, to be found by place.
struct EndGrid {
    /// (end, chain, whether it is the chain's last point), sorted by x.
    ends: Vec<(DVec2, usize, bool)>,
    gone: Vec<bool>,
}

impl EndGrid {
    fn new(chains: &[Vec<DVec2>]) -> Self {
        let mut ends = Vec::with_capacity(chains.len() * 2);
        for (i, points) in chains.iter().enumerate() {
            if let (Some(&first), Some(&last)) = (points.first(), points.last()) {
                ends.extend([(first, i, false), (last, i, true)]);
            }
        }
        ends.sort_by(|a, b| a.0.x.total_cmp(&b.0.x));
        Self {
            ends,
            gone: vec![false; chains.len()],
        }
    }

    fn forget(&mut self, chain: usize) {
        self.gone[chain] = true;
    }

    /// The nearest end of a chain that is still there, within [`JOIN_MM`].
    fn near(&self, point: DVec2) -> Option<(usize, bool)> {
        let begin = self.ends.partition_point(|e| e.0.x < point.x - JOIN_MM);
        self.ends[begin..]
            .iter()
            .take_while(|e| e.0.x <= point.x + JOIN_MM)
            .filter(|e| !self.gone[e.1])
            .map(|e| (e.0.distance(point), e.1, e.2))
            .filter(|&(distance, ..)| distance <= JOIN_MM)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, chain, at_end)| (chain, at_end))
    }
}
