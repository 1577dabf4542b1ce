//! Volume of a whole mesh, sound or not.

use super::LayerPlan;
use super::cut::{CutError, cut};
use crate::{Cancelled, Mesh, Progress, place};

/// Layers into which a whole mesh is cut for its volume.
const SLABS: f64 = 256.0;

/// Volumes summed in two ways may differ by this share through rounding.
const ROUNDING: f64 = 1e-9;

/// The volume that a part takes up, mm³, and whether any of it is not what the facets alone
/// add up to: shells overlap or face inwards, or the surface is open.
///
/// For a sound mesh it is [`Mesh::volume_mm3`]. Else it is summed from outlines by the
/// non-zero winding rule, open ones closed by straight lines, at a thousand heights or
/// more: good to 1 in 200, mostly to 1 in 10,000.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use geometry::{DVec3, Mesh, Progress, layers::solid_volume_mm3, solids};
/// let block = solids::cuboid(DVec3::splat(2.0))?;
/// let moved = block.clone().map(|p| p + DVec3::X)?;
/// let both = Mesh::join([block, moved])?;
/// let (volume_mm3, overlaps) = solid_volume_mm3(&both, &Progress::new())?;
/// assert!(overlaps && (volume_mm3 - 12.0).abs() < 1e-9);
/// # Ok(())
/// # }
/// ```
///
/// # Errors
/// [`Cancelled`].
pub fn solid_volume_mm3(mesh: &Mesh, progress: &Progress) -> Result<(f64, bool), Cancelled> {
    let (lo, hi) = mesh.bounds();
    let plan = LayerPlan::plain((hi.z - lo.z) / SLABS, (hi.z - lo.z) / SLABS);
    let counted = (mesh.volume_mm3(), false);
    // A mesh so flat or so large that it cannot be cut has no volume to be wrong about.
    let Ok(standing) = place::on_bed(mesh.clone()) else {
        return Ok(counted);
    };
    let layers = match cut(&standing, &plan, progress) {
        Ok(layers) => layers,
        Err(CutError::Cancelled(cancelled)) => return Err(cancelled),
        Err(_) => return Ok(counted),
    };
    let volume_mm3: f64 = layers.iter().map(|l| l.volume_mm3).sum();
    let differs = (volume_mm3 - counted.0).abs() > ROUNDING * volume_mm3.abs();
    match differs || layers.iter().any(|l| l.overlaps || l.open_ends > 0) {
        true => Ok((volume_mm3, true)),
        false => Ok(counted),
    }
}
