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

/// The share of the surface, within `filter`, on which the field is below each of a rising
/// list of values, mm: `(values, shares)`, the shares rising from 0 to 1.
///
/// Facets are cut into small pieces, the field is taken as linear over each, and a piece
/// counts if its middle passes `filter`; so for height or a direction without a filter the
/// shares are exact. A level face is counted just above its height. Both lists are empty
/// if nothing passes, and have one entry, 0, if the field is the same everywhere.
pub fn visible_area(
    field: &PreparedField,
    surface: &Surface,
    filter: impl Fn(SurfacePoint) -> bool + Sync,
) -> (Vec<f64>, Vec<f64>) {
    let mesh = surface.mesh();
    let (lo, hi) = mesh.bounds();
    let piece_mm = hi.distance(lo) * PIECE_SHARE;
    let facets = 0..mesh.triangles().len() as u32;
    let pieces = |facet: u32, each: &mut dyn FnMut([f64; 3], f64)| {
        let at = |point_mm: DVec3| SurfacePoint { point_mm, facet };
        for_pieces(mesh.corners(facet as usize), piece_mm, &mut |corners| {
            let [a, b, c] = corners;
            if filter(at((a + b + c) / 3.0)) {
                let values = corners.map(|p| field.at(at(p)));
                if values.iter().all(|v| v.is_finite()) {
                    each(values, 0.5 * (b - a).cross(c - a).length());
                }
            }
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
    if least > most {
        return (Vec::new(), Vec::new());
    }
    if least == most {
        return (vec![least], vec![0.0]);
    }
    // Always the same parts, added in the same order, so that the sums are the same on any number
    // of cores.
    let count = mesh.triangles().len();
    let apart = count.div_ceil(PARTS).max(1);
    let parts: Vec<Below> = (0..PARTS)
        .into_par_iter()
        .map(|part| {
            let mut below = Below::new(least, most);
            for facet in (part * apart).min(count)..((part + 1) * apart).min(count) {
                pieces(facet as u32, &mut |values, area| below.add(values, area));
            }
            below
        })
        .collect();
    let whole = parts.into_iter().reduce(Below::merge);
    whole.map_or((Vec::new(), Vec::new()), Below::finish)
}

fn nothing() -> (f64, f64) {
    (f64::INFINITY, f64::NEG_INFINITY)
}

/// Cuts a triangle at its longest side until that is no longer than `piece_mm`.
fn for_pieces(corners: [DVec3; 3], piece_mm: f64, each: &mut dyn FnMut([DVec3; 3])) {
    let [a, b, c] = corners;
    let lengths = [a.distance(b), b.distance(c), c.distance(a)];
    let longest = lengths.iter().copied().fold(0.0, f64::max);
    if longest <= piece_mm || piece_mm <= 0.0 {
        return each(corners);
    }
    let [a, b, c] = if lengths[0] == longest {
        [a, b, c]
    } else if lengths[1] == longest {
        [b, c, a]
    } else {
        [c, a, b]
    };
    let middle = a.midpoint(b);
    for_pieces([a, middle, c], piece_mm, each);
    for_pieces([middle, b, c], piece_mm, each);
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

    fn finish(self) -> (Vec<f64>, Vec<f64>) {
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
        if let Some(last) = shares.last_mut() {
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
