//! Facets that are hardly there.

use super::{CRACK_MM, Tally, centroid};
use crate::Mesh;

/// A facet is without area when its height is lost in its corners' rounding: this small a
/// part of its longest side.
const ROUNDING: f64 = 1e-12;

#[derive(Default)]
pub(super) struct FacetFaults {
    pub(super) empty: Tally,
    pub(super) slivers: Tally,
}

pub(super) fn look_over(mesh: &Mesh) -> FacetFaults {
    let mut faults = FacetFaults::default();
    for facet in 0..mesh.triangles().len() {
        let [a, b, c] = mesh.corners(facet);
        let sides = [b - a, c - b, a - c].map(|side| side.length_squared());
        let longest = sides[0].max(sides[1]).max(sides[2]).sqrt();
        let doubled = (b - a).cross(c - a).length();
        // Twice the area is the longest side times the height on it.
        if doubled <= ROUNDING * longest * longest {
            faults.empty.add(|| centroid(mesh, facet));
        } else if doubled < CRACK_MM * longest {
            faults.slivers.add(|| centroid(mesh, facet));
        }
    }
    faults
}
