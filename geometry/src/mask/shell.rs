//! The connected shell of the mesh that passes nearest to a point.
//!
//! Facets hang together where they share an edge; a shared corner alone does not count.

use glam::DVec3;

use super::MaskError;
use super::check::finite_point;
use super::facets::FacetSet;
use crate::Surface;

pub(super) fn check(near_mm: DVec3) -> Result<(), MaskError> {
    finite_point("near_mm", near_mm)
}

pub(super) fn prepare(near_mm: DVec3, surface: &Surface) -> FacetSet {
    let shells = surface.shells();
    let wanted = shells.get(surface.nearest(near_mm).facet as usize);
    FacetSet::new(shells.iter().map(|shell| Some(shell) == wanted))
}
