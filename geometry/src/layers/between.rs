//! Volume and skin between two heights.

use super::Between;
use super::facet::FacetClip;
use crate::Mesh;

/// The exact volume and skin area of a mesh between two heights, mm.
///
/// A flat facet exactly at a height belongs to the side its plastic is on: facing up, to
/// what lies beneath; facing down, to what lies above. Heights at or beyond the mesh's own
/// ends take in all that lies there. So the parts between rising heights that cover the
/// mesh add up to the whole. The volume means something only where the mesh is closed.
///
/// ```
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// let block = geometry::solids::cuboid(geometry::DVec3::new(20.0, 10.0, 5.0))?;
/// let part = geometry::layers::between(&block, 1.0, 1.5);
/// assert!((part.volume_mm3 - 100.0).abs() < 1e-9);
/// assert!((part.skin_mm2 - 30.0).abs() < 1e-9);
/// # Ok(())
/// # }
/// ```
pub fn between(mesh: &Mesh, bottom_mm: f64, top_mm: f64) -> Between {
    let (lo, hi) = mesh.bounds();
    let axis = ((lo + hi) * 0.5).truncate();
    let mut sum = Between::default();
    if bottom_mm.is_nan() || top_mm.is_nan() || top_mm <= bottom_mm {
        return sum;
    }
    let bottom = if bottom_mm <= lo.z {
        f64::NEG_INFINITY
    } else {
        bottom_mm
    };
    let top = if top_mm >= hi.z {
        f64::INFINITY
    } else {
        top_mm
    };
    for facet in 0..mesh.triangles().len() {
        let corners = mesh.corners(facet);
        let clip = FacetClip::new(corners, axis);
        if !clip.is_flat() {
            sum += clip.between(bottom_mm.max(lo.z), top_mm.min(hi.z));
        } else if flat_is_between(&clip, corners[0].z, bottom, top) {
            sum += clip.flat_skin();
        }
    }
    sum
}

fn flat_is_between(clip: &FacetClip, z: f64, bottom: f64, top: f64) -> bool {
    if clip.faces_up() {
        bottom < z && z <= top
    } else {
        bottom <= z && z < top
    }
}
