//! How a field falls on a part: how much of the surface lies below each of its values.

use glam::DVec3;
use rayon::prelude::*;

use super::PreparedField;
use crate::{Surface, SurfacePoint};

/// How many steps the curve has.
const STEPS: usize = 1024;

/// Into how many parts the facets are shared out, on any number of cores.
const PARTS: usize = 64;

/// Facets are cut to pieces no longer than this share of the part's size.
const PIECE_SHARE: f64 = 1.0 / 128.0;

/// Of a large part they are cut to pieces no longer than this, mm.
const LONGEST_PIECE_MM: f64 = 2.0;

/// The share of the surface, within `filter`, on which the field is below each of a rising
/// list of values, mm: `(values, shares)`, the shares rising from 0 to 1 over all values of the
/// field. The list covers what lies within `span_mm`, however small a part of the field's values
/// that is.
///
/// Facets are cut into small pieces, and further where the filter changes, down to `finest_mm`.
/// The field is taken as linear over each, and a piece counts if its middle passes `filter`; so
/// for height or a direction without a filter the shares are exact. A level face is counted just
/// above its height. Both lists are empty if nothing passes or lies within the span, and have
/// one entry, 0, if the field is the same everywhere.
pub fn visible_area(
    field: &PreparedField,
    surface: &Surface,
    span_mm: (f64, f64),
    finest_mm: f64,
    filter: impl Fn(SurfacePoint) -> bool + Sync,
) -> (Vec<f64>, Vec<f64>) {
    let mesh = surface.mesh();
    let (lo, hi) = mesh.bounds();
    let piece_mm = (hi.distance(lo) * PIECE_SHARE).min(LONGEST_PIECE_MM);
    let facets = 0..mesh.triangles().len() as u32;
    let pieces = |facet: u32, each: &mut dyn FnMut([f64; 3], f64)| {
        let at = |point_mm: DVec3| SurfacePoint { point_mm, facet };
        let passes = |point_mm: DVec3| filter(at(point_mm));
        for_pieces(mesh.corners(facet as usize), piece_mm, &mut |corners| {
            for_even_pieces(corners, finest_mm, &passes, &mut |[a, b, c]| {
                let values = [a, b, c].map(|p| field.at(at(p)));
                if values.iter().all(|v| v.is_finite()) {
                    each(values, 0.5 * (b - a).cross(c - a).length());
                }
            });
        });
    };
    let (least, most) = facets
        .clone()
        .into_par_iter()
        .fold(nothing, |range, facet| {
            let mut range = range;
            pieces(facet, &mut |values, _| {
                for v in values {
                    range = (range.0.min(v), range.1.max(v));
                }
            });
            range
        })
        .reduce(nothing, |a, b| (a.0.min(b.0), a.1.max(b.1)));
    if least == most {
        return (vec![least], vec![0.0]);
    }
    let ends = (least.max(span_mm.0), most.min(span_mm.1));
    // Also where nothing passes, or an end is no number.
    if ends.0.partial_cmp(&ends.1) != Some(std::cmp::Ordering::Less) {
        return (Vec::new(), Vec::new());
    }
    // Always the same parts, added in the same order, so that the sums are the same on any number
    // of cores.
    let count = mesh.triangles().len();
    let apart = count.div_ceil(PARTS).max(1);
    let parts: Vec<Below> = (0..PARTS)
        .into_par_iter()
        .map(|part| {
            let mut below = Below::new(ends.0, ends.1);
            for facet in (part * apart).min(count)..((part + 1) * apart).min(count) {
                pieces(facet as u32, &mut |values, area| below.add(values, area));
            }
            below
        })
        .collect();
    let whole = parts.into_iter().reduce(Below::merge);
    whole.map_or((Vec::new(), Vec::new()), |below| {
        below.finish(ends.1 >= most)
    })
}

fn nothing() -> (f64, f64) {
    (f64::INFINITY, f64::NEG_INFINITY)
}

/// Cuts a triangle at its longest side until that is no longer than `piece_mm`.
fn for_pieces(corners: [DVec3; 3], piece_mm: f64, each: &mut dyn FnMut([DVec3; 3])) {
    let [a, b, c] = corners;
    let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
    if longest <= piece_mm || piece_mm <= 0.0 {
        return each(corners);
    }
    for half in halves(corners) {
        for_pieces(half, piece_mm, each);
    }
}

/// A triangle cut at the middle of its longest side.
fn halves(corners: [DVec3; 3]) -> [[DVec3; 3]; 2] {
    let [a, b, c] = corners;
    let [ab, bc, ca] = [a.distance(b), b.distance(c), c.distance(a)];
    let longest = ab.max(bc).max(ca);
    let [a, b, c] = if ab == longest {
        [a, b, c]
    } else if bc == longest {
        [b, c, a]
    } else {
        [c, a, b]
    };
    let middle = a.midpoint(b);
    [[a, middle, c], [middle, b, c]]
}

/// Cuts a piece on until its corners and its middle pass alike, or it is no longer than
/// `finest_mm`; hands out those whose middle passes.
fn for_even_pieces(
    corners: [DVec3; 3],
    finest_mm: f64,
    passes: &impl Fn(DVec3) -> bool,
    each: &mut dyn FnMut([DVec3; 3]),
) {
    let [a, b, c] = corners;
    let middle = (a + b + c) / 3.0;
    let in_middle = passes(middle);
    // A little inwards: the last digit must not decide at an edge.
    let even = || {
        corners
            .iter()
            .all(|p| passes(p.lerp(middle, 1e-3)) == in_middle)
    };
    let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
    let fine = longest.is_nan() || longest <= finest_mm || finest_mm <= 0.0;
    if fine || even() {
        if in_middle {
            each(corners);
        }
        return;
    }
    for half in halves(corners) {
        for_even_pieces(half, finest_mm, passes, each);
    }
}

/// Area below each of evenly spaced values.
struct Below {
    least: f64,
    step: f64,
    /// Area of the pieces that straddle a value, below it.
    partly: Vec<f64>,
    /// Area of the pieces that are wholly below a value and not below the one before.
    wholly: Vec<f64>,
}

impl Below {
    fn new(least: f64, most: f64) -> Self {
        Self {
            least,
            step: (most - least) / STEPS as f64,
            partly: vec![0.0; STEPS + 1],
            wholly: vec![0.0; STEPS + 2],
        }
    }

    fn value(&self, i: usize) -> f64 {
        self.least + self.step * i as f64
    }

    fn add(&mut self, values: [f64; 3], area: f64) {
        let mut sorted = values;
        sorted.sort_by(f64::total_cmp);
        let [low, _, high] = sorted;
        let mut i = ((low - self.least) / self.step).floor().max(0.0) as usize;
        while i <= STEPS && self.value(i) <= high {
            self.partly[i] += area * share_below(sorted, self.value(i));
            i += 1;
        }
        self.wholly[i.min(STEPS + 1)] += area;
    }

    fn merge(mut self, other: Self) -> Self {
        for (mine, theirs) in self.partly.iter_mut().zip(other.partly) {
            *mine += theirs;
        }
        for (mine, theirs) in self.wholly.iter_mut().zip(other.wholly) {
            *mine += theirs;
        }
        self
    }

    /// The curve; `to_the_top` says whether it covers the field's greatest value.
    fn finish(self, to_the_top: bool) -> (Vec<f64>, Vec<f64>) {
        let all: f64 = self.wholly.iter().sum();
        let values = (0..=STEPS).map(|i| self.value(i)).collect();
        let mut wholly = 0.0;
        let mut least = 0.0f64;
        let mut shares: Vec<f64> = (0..=STEPS)
            .map(|i| {
                wholly += self.wholly[i];
                least = least.max((wholly + self.partly[i]) / all).min(1.0);
                least
            })
            .collect();
        // A level face at the very top lies below no value, but is part of the whole.
        if let (true, Some(last)) = (to_the_top, shares.last_mut()) {
            *last = 1.0;
        }
        (values, shares)
    }
}

/// The share of a triangle's area on which a linear function is below `value`; `sorted`
/// are its values at the corners, rising.
fn share_below(sorted: [f64; 3], value: f64) -> f64 {
    let [low, mid, high] = sorted;
    if value <= low {
        0.0
    } else if value >= high {
        1.0
    } else if value < mid {
        (value - low) * (value - low) / ((mid - low) * (high - low))
    } else {
        1.0 - (high - value) * (high - value) / ((high - mid) * (high - low))
    }
}
