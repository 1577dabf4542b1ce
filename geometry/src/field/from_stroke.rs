//! Distance along the surface from a painted stroke.

use super::FieldError;
use crate::mask::Stroke;
use crate::surface::geodesic::{Bounds, Distances, Line, Piece, Stopped, TOLERANCE, trace};
use crate::{Progress, Surface, SurfacePoint};

/// Distances from the stroke over the whole surface.
///
/// They are those along the mesh as it is, within 0.5 %, and far less as a
/// rule, on coarse meshes and fine ones and on thin facets alike. A shell that the stroke does
/// not touch is infinitely far.
pub(super) fn prepare(
    stroke: &Stroke,
    surface: &Surface,
    progress: &Progress,
) -> Result<Distances, FieldError> {
    stroke.check()?;
    progress.stage("Measuring along the surface");
    let pieces = draw(stroke, surface);
    progress.check()?;
    let bounds = Bounds {
        reach_mm: f64::MAX,
        tube: None,
        tolerance: TOLERANCE,
    };
    Distances::new(surface, &pieces, bounds, true, progress).map_err(|stopped| match stopped {
        Stopped::Cancelled(cancelled) => FieldError::Cancelled(cancelled),
        Stopped::TooMany => FieldError::Stroke(crate::mask::MaskError::TooInvolved),
    })
}

/// The line of the whole stroke. Dabs that are not on the surface are taken to it.
fn draw(stroke: &Stroke, surface: &Surface) -> Vec<Piece> {
    let dabs: Vec<SurfacePoint> = stroke.dabs_mm.iter().map(|&d| surface.nearest(d)).collect();
    match dabs.as_slice() {
        [dab] => Line::dot(*dab).pieces,
        dabs => dabs
            .windows(2)
            .flat_map(|w| trace(surface, w[0], w[1], stroke.radius_mm).pieces)
            .collect(),
    }
}
