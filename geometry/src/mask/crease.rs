//! The facets reached from a point without crossing an edge sharper than an angle.

use glam::DVec3;

use super::MaskError;
use super::facets::FacetSet;
use super::values::{finite, finite_point};
use crate::Surface;

pub(super) fn check(near_mm: DVec3, angle_deg: f64) -> Result<(), MaskError> {
    finite_point("near_mm", near_mm)?;
    finite("angle_deg", angle_deg)?;
    match (0.0..=180.0).contains(&angle_deg) {
        true => Ok(()),
        false => Err(MaskError::Angle { value: angle_deg }),
    }
}

/// Grows from the facet nearest to the point over edges that are not sharper than an angle.
pub(super) fn prepare(near_mm: DVec3, angle_deg: f64, surface: &Surface) -> FacetSet {
    spread(near_mm, surface, |normal, next| {
        degrees_between(normal, next) <= angle_deg + 1e-6
    })
}

/// Grows from the facet nearest to the point, from facet to facet, wherever `crosses` says so of
/// the normals of one and the next. A facet without area has no normal; it is
/// passed as if it were as flat as the facet before it. Two facets that disagree about
/// which side is out are compared as if they agreed.
pub(super) fn spread(
    near_mm: DVec3,
    surface: &Surface,
    mut crosses: impl FnMut(DVec3, DVec3) -> bool,
) -> FacetSet {
    let adjacency = surface.adjacency();
    let triangles = surface.mesh().triangles();
    let mut inside = vec![false; triangles.len()];
    let first = surface.nearest(near_mm).facet;
    inside[first as usize] = true;
    let mut open = vec![(first, surface.normal(first), false)];
    while let Some((facet, normal, turned)) = open.pop() {
        for side in 0..3 {
            for (other, other_side) in adjacency.across(facet, side) {
                if inside[other as usize] {
                    continue;
                }
                let start = |f: u32, s: usize| triangles[f as usize][s];
                // All normals in the first facet's sense of outside.
                let turned = turned ^ (start(facet, side) == start(other, other_side));
                let next = match surface.normal(other) {
                    DVec3::ZERO => normal,
                    n if turned => -n,
                    n => n,
                };
                if crosses(normal, next) {
                    inside[other as usize] = true;
                    open.push((other, next, turned));
                }
            }
        }
    }
    FacetSet::new(inside.into_iter())
}

/// Angle between two unit vectors, exact for small angles too; 0 if either is zero.
pub(super) fn degrees_between(a: DVec3, b: DVec3) -> f64 {
    a.cross(b).length().atan2(a.dot(b)).to_degrees()
}
