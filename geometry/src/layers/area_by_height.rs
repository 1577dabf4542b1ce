//! How a mesh's skin is spread over its heights.

use rayon::prelude::*;

use crate::Mesh;

/// The exact area of skin below every height: what an even share of the visible surface
/// per shade is found by.
///
/// Between two neighbouring vertex heights the area grows as a quadratic of the height, so
/// a question costs one search in a sorted list, whatever the mesh. Height may be any
/// other measure that is linear over each facet; see [`AreaByHeight::along`].
///
/// ```
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// use geometry::{layers::AreaByHeight, solids};
/// // By Archimedes' hat-box theorem a sphere's skin is spread evenly over its height.
/// let ball = solids::icosphere(10.0, 5)?;
/// let spread = AreaByHeight::of(&ball);
/// assert!((spread.share_below(-5.0) - 0.25).abs() < 1e-3);
/// assert!((spread.height_of_share(0.75) - 5.0).abs() < 1e-2);
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct AreaByHeight {
    /// Where the quadratics meet, rising.
    heights: Vec<f64>,
    /// Area at or below each height.
    at_or_below: Vec<f64>,
    /// Area of flat facets at each height.
    flat: Vec<f64>,
    /// From each height to the next: area per whole interval at its beginning and end.
    density: Vec<(f64, f64)>,
}

impl AreaByHeight {
    /// Of a mesh's skin, by z.
    pub fn of(mesh: &Mesh) -> Self {
        let heights: Vec<f64> = mesh.vertices().iter().map(|v| v.z).collect();
        Self::along(mesh, &heights, |_| 1.0)
    }

    /// By any measure given at the vertices and linear between them, with a weight for
    /// each facet (1 counts all of its area, 0 leaves it out).
    ///
    /// A facet is left out where a vertex has no finite value, as a distance along the
    /// surface has none on another shell.
    pub fn along(mesh: &Mesh, values: &[f64], weight: impl Fn(usize) -> f64 + Sync) -> Self {
        let Ranks { heights, of_vertex } = Ranks::of(values);
        let spread_of = |facets: std::ops::Range<usize>| {
            let mut spread = Spread::new(&heights);
            for facet in facets {
                let rank = |v: u32| of_vertex.get(v as usize).copied().flatten();
                let [a, b, c] = mesh.triangles()[facet].map(rank);
                if let (Some(a), Some(b), Some(c)) = (a, b, c) {
                    let area = mesh.area_vector(facet).length() * weight(facet).max(0.0);
                    spread.add(area, [a, b, c]);
                }
            }
            spread
        };
        // Always two halves, so that the sums are the same on any number of cores.
        let count = mesh.triangles().len();
        let (mut spread, other) =
            rayon::join(|| spread_of(0..count / 2), || spread_of(count / 2..count));
        spread.merge(&other);
        drop(other);
        spread.push_down();
        let Spread {
            nodes,
            flat,
            leaves,
            ..
        } = spread;
        Self::from_parts(heights, flat, &nodes[leaves..])
    }

    /// Sums up from the lowest height; `density` may go on beyond the last interval.
    fn from_parts(heights: Vec<f64>, flat: Vec<f64>, density: &[(f64, f64)]) -> Self {
        let intervals = heights.len().saturating_sub(1);
        let density = density[..intervals].to_vec();
        let mut sum = 0.0;
        let mut at_or_below = Vec::with_capacity(heights.len());
        for (i, flat) in flat.iter().enumerate() {
            if let Some(before) = i.checked_sub(1) {
                sum += 0.5 * (density[before].0 + density[before].1);
            }
            sum += flat;
            at_or_below.push(sum);
        }
        Self {
            heights,
            at_or_below,
            flat,
            density,
        }
    }

    /// All of the area, mm².
    pub fn total_mm2(&self) -> f64 {
        self.at_or_below.last().copied().unwrap_or(0.0)
    }

    /// Area of the skin at or below a height, mm².
    pub fn below_mm2(&self, height_mm: f64) -> f64 {
        let above = self.heights.partition_point(|&h| h <= height_mm);
        let Some(i) = above.checked_sub(1) else {
            return 0.0;
        };
        let begin = self.at_or_below[i];
        if above == self.heights.len() {
            return begin;
        }
        let (low, high) = (self.heights[i], self.heights[above]);
        let t = (height_mm - low) / (high - low);
        let (from, to) = self.density[i];
        begin + t * (from + 0.5 * t * (to - from))
    }

    /// The part of the skin at or below a height, in `0..=1`.
    pub fn share_below(&self, height_mm: f64) -> f64 {
        match self.total_mm2() {
            total if total > 0.0 => (self.below_mm2(height_mm) / total).clamp(0.0, 1.0),
            _ => 0.0,
        }
    }

    /// The least height that has this much of the skin at or below it.
    pub fn height_of(&self, area_mm2: f64) -> f64 {
        let i = self.at_or_below.partition_point(|&a| a < area_mm2);
        let Some(&high) = self.heights.get(i) else {
            return self.heights.last().copied().unwrap_or(0.0);
        };
        let Some(before) = i.checked_sub(1) else {
            return high;
        };
        let more = area_mm2 - self.at_or_below[before];
        if area_mm2 >= self.at_or_below[i] - self.flat[i] {
            return high;
        }
        // The root of from·t + (to − from)·t²/2 = more, in the form that does not cancel.
        let (from, to) = self.density[before];
        let root = (from * from + 2.0 * (to - from) * more).max(0.0).sqrt();
        let t = (2.0 * more / (from + root)).clamp(0.0, 1.0);
        let low = self.heights[before];
        if t.is_nan() {
            high
        } else {
            low + t * (high - low)
        }
    }

    /// The least height that has this part of the skin, in `0..=1`, at or below it.
    pub fn height_of_share(&self, share: f64) -> f64 {
        self.height_of(share.clamp(0.0, 1.0) * self.total_mm2())
    }
}

/// The different heights, rising, and which of them each vertex has.
struct Ranks {
    heights: Vec<f64>,
    /// `None` where the height is not finite.
    of_vertex: Vec<Option<u32>>,
}

impl Ranks {
    fn of(values: &[f64]) -> Self {
        let mut order: Vec<(f64, u32)> = (0..).zip(values).map(|(i, &v)| (v, i)).collect();
        order.retain(|(value, _)| value.is_finite());
        order.par_sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let mut heights = Vec::<f64>::with_capacity(order.len());
        let mut of_vertex = vec![None; values.len()];
        for (value, vertex) in order {
            // Not `total_cmp`: −0 and 0 are one height.
            if heights.last() != Some(&value) {
                heights.push(value);
            }
            of_vertex[vertex as usize] = Some(heights.len() as u32 - 1);
        }
        Self { heights, of_vertex }
    }
}

/// Collects facets.
///
/// A facet's area per height is two ramps: up from its lowest vertex to the middle one,
/// down to the highest. Each ramp is laid on the few nodes of a binary tree over the
/// intervals that make up its range, and pushed down to the intervals in the end. Nothing
/// is ever subtracted, so facets of any steepness leave no rounding dirt on each other.
struct Spread<'a> {
    heights: &'a [f64],
    flat: Vec<f64>,
    /// A binary tree, the root at 1: area per whole node at its beginning and end.
    nodes: Vec<(f64, f64)>,
    /// Leaves of the tree: intervals, rounded up to a power of two.
    leaves: usize,
}

/// A line over heights: its values at two of them.
#[derive(Clone, Copy)]
struct Ramp {
    from: f64,
    per_mm: f64,
    at_from: f64,
    at_to: f64,
}

impl Ramp {
    fn at(&self, height: f64) -> f64 {
        let t = ((height - self.from) * self.per_mm).clamp(0.0, 1.0);
        self.at_from * (1.0 - t) + self.at_to * t
    }
}

impl<'a> Spread<'a> {
    fn new(heights: &'a [f64]) -> Self {
        let leaves = heights.len().saturating_sub(1).next_power_of_two();
        Self {
            flat: vec![0.0; heights.len()],
            nodes: vec![(0.0, 0.0); 2 * leaves],
            leaves,
            heights,
        }
    }

    /// Adds a facet, given the places of its corners' heights.
    fn add(&mut self, area: f64, mut places: [u32; 3]) {
        if area <= 0.0 {
            return;
        }
        places.sort_unstable();
        let [low, middle, high] = places.map(|p| p as usize);
        if low == high {
            self.flat[low] += area;
            return;
        }
        // The facet is widest at its middle vertex, so that both ramps cover its area.
        let widest = 2.0 * area / (self.heights[high] - self.heights[low]);
        self.lay(low, middle, 0.0, widest);
        self.lay(middle, high, widest, 0.0);
    }

    /// Lays a ramp on the nodes that together cover its range.
    fn lay(&mut self, from: usize, to: usize, at_from: f64, at_to: f64) {
        if from == to {
            return;
        }
        let ramp = Ramp {
            from: self.heights[from],
            // Bounded, since the heights may be the least number apart.
            per_mm: (1.0 / (self.heights[to] - self.heights[from])).min(f64::MAX),
            at_from,
            at_to,
        };
        let (mut begin, mut end) = (from + self.leaves, to + self.leaves);
        let mut width = 1;
        while begin < end {
            if begin % 2 == 1 {
                self.lay_on(begin, width, ramp);
                begin += 1;
            }
            if end % 2 == 1 {
                end -= 1;
                self.lay_on(end, width, ramp);
            }
            begin /= 2;
            end /= 2;
            width *= 2;
        }
    }

    /// Adds to one node, which lies within the ramp and covers `width` intervals.
    fn lay_on(&mut self, node: usize, width: usize, ramp: Ramp) {
        let first = node * width - self.leaves;
        let (low, high) = (self.heights[first], self.heights[first + width]);
        self.nodes[node].0 += ramp.at(low) * (high - low);
        self.nodes[node].1 += ramp.at(high) * (high - low);
    }

    /// Takes in what another has collected over the same heights.
    fn merge(&mut self, other: &Self) {
        for (mine, theirs) in self.nodes.iter_mut().zip(&other.nodes) {
            mine.0 += theirs.0;
            mine.1 += theirs.1;
        }
        for (mine, theirs) in self.flat.iter_mut().zip(&other.flat) {
            *mine += theirs;
        }
    }

    /// Shares what lies on a node out to its two halves.
    fn push_down(&mut self) {
        let last = self.heights.len().saturating_sub(1);
        let height = |i: usize| self.heights[i.min(last)];
        let mut width = self.leaves;
        let mut level = 1;
        while width > 1 {
            for node in level..2 * level {
                let (from, to) = std::mem::take(&mut self.nodes[node]);
                if from == 0.0 && to == 0.0 {
                    continue;
                }
                let first = node * width - self.leaves;
                let ends = [first, first + width / 2, first + width].map(height);
                let t = (ends[1] - ends[0]) / (ends[2] - ends[0]);
                let middle = from * (1.0 - t) + to * t;
                self.nodes[2 * node].0 += from * t;
                self.nodes[2 * node].1 += middle * t;
                self.nodes[2 * node + 1].0 += middle * (1.0 - t);
                self.nodes[2 * node + 1].1 += to * (1.0 - t);
            }
            width /= 2;
            level *= 2;
        }
    }
}
