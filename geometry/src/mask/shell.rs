//! The connected shell of the mesh that passes nearest to a point, or an object of the file.
//!
//! Facets hang together where they share an edge; shells that only touch, at a corner, along
//! an edge or with a face, are apart.

use glam::DVec3;

use super::MaskError;
use super::facets::FacetSet;
use super::values::finite_point;
use crate::Surface;
use crate::mesh::Parts;

pub(super) fn check(near_mm: DVec3) -> Result<(), MaskError> {
    finite_point("near_mm", near_mm)
}

pub(super) fn prepare(near_mm: DVec3, surface: &Surface) -> FacetSet {
    let parts = Parts::of(surface.mesh());
    let wanted = parts.of_facet(surface.nearest(near_mm).facet as usize);
    FacetSet::new(parts.of_facets().iter().map(|part| *part == wanted))
}

/// The facets of an object or group of the file.
pub(super) fn prepare_object(name: &str, surface: &Surface) -> Result<FacetSet, MaskError> {
    let groups = surface.mesh().groups();
    let facets = 0..surface.mesh().triangles().len();
    if !groups.names().contains(&name) {
        return Err(MaskError::NoSuchObject {
            name: name.to_owned(),
            known: listed(&groups.names()),
        });
    }
    Ok(FacetSet::new(facets.map(|facet| groups.is_in(facet, name))))
}

/// The most names that are listed.
const MOST_LISTED: usize = 12;

fn listed(names: &[&str]) -> String {
    match names {
        [] => "the mesh file names none".to_owned(),
        names => {
            let first: Vec<String> = names
                .iter()
                .take(MOST_LISTED)
                .map(|n| format!("'{n}'"))
                .collect();
            let more = if names.len() > MOST_LISTED {
                " and others"
            } else {
                ""
            };
            format!("the mesh file has {}{more}", first.join(", "))
        }
    }
}
