//! The facets reached from a point that face nearly as the first one does.

use glam::DVec3;

use super::crease::{degrees_between, spread};
use super::facets::FacetSet;
use crate::Surface;

/// Grows from the facet nearest to the point over facets whose normals are within an angle of
/// that facet's.
pub(super) fn prepare(near_mm: DVec3, angle_deg: f64, surface: &Surface) -> FacetSet {
    let mut first = None;
    spread(near_mm, surface, |normal, next| {
        let first = *first.get_or_insert(normal);
        degrees_between(first, next) <= angle_deg + 1e-6
    })
}
