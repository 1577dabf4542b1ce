//! Facets that are hardly there.

use std::ops::Range;

use glam::DVec3;
use rayon::prelude::*;

use super::{CRACK_MM, Tally, centroid};
use crate::Mesh;
use crate::stretches::stretches;

/// A facet is without area when its height is lost in its corners' rounding: this small a
/// part of its longest side.
const ROUNDING: f64 = 1e-12;

/// Of a part smaller than usual, a facet lower than this share of the part is a sliver.
const SHARE: f64 = 1e-4;

/// How far the shape of a facet is from none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Thin {
    /// It has area.
    No,
    /// It is lower than [`sliver_mm`].
    Sliver,
    /// Its height is lost in its corners' rounding.
    Empty,
}

/// The height below which a facet of this mesh is a sliver, mm.
pub(crate) fn sliver_mm(mesh: &Mesh) -> f64 {
    let (low, high) = mesh.bounds();
    CRACK_MM.min(SHARE * (high - low).max_element())
}

/// Whether a facet is a sliver, given the height below which it is, mm.
pub(crate) fn thin([a, b, c]: [DVec3; 3], sliver_mm: f64) -> Thin {
    let sides = [b - a, c - b, a - c].map(DVec3::length_squared);
    let longest = sides[0].max(sides[1]).max(sides[2]).sqrt();
    // Twice the area is the longest side times the height on it.
    let doubled = (b - a).cross(c - a).length();
    if doubled <= ROUNDING * longest * longest {
        Thin::Empty
    } else if doubled < sliver_mm * longest {
        Thin::Sliver
    } else {
        Thin::No
    }
}

#[derive(Clone, Copy, Default)]
pub(super) struct FacetFaults {
    pub(super) empty: Tally,
    pub(super) slivers: Tally,
    pub(super) sliver_mm: f64,
}

pub(super) fn look_over(mesh: &Mesh) -> FacetFaults {
    let sliver_mm = sliver_mm(mesh);
    let blank = FacetFaults {
        sliver_mm,
        ..FacetFaults::default()
    };
    let seen = |facets: Range<usize>| {
        let mut faults = blank;
        for facet in facets {
            match thin(mesh.corners(facet), sliver_mm) {
                Thin::No => {}
                Thin::Sliver => faults.slivers.add(|| centroid(mesh, facet)),
                Thin::Empty => faults.empty.add(|| centroid(mesh, facet)),
            }
        }
        faults
    };
    let found: Vec<FacetFaults> = stretches(mesh.triangles().len()).map(seen).collect();
    found.into_iter().fold(blank, |all, later| FacetFaults {
        empty: all.empty.and(later.empty),
        slivers: all.slivers.and(later.slivers),
        ..all
    })
}
