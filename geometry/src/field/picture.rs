//! The greys of a picture.

use super::FieldError;
use crate::imprint::{Picture, Placed};
use crate::mask::MaskError;
use crate::{Progress, Surface, SurfacePoint};

/// White.
const WHITE: f64 = 100.0;

pub(super) fn prepare(
    picture: &Picture,
    surface: &Surface,
    progress: &Progress,
) -> Result<Placed, FieldError> {
    let placed = picture.placed(surface).and_then(|p| p.ready(progress));
    placed.map_err(|error| match error {
        MaskError::Cancelled(cancelled) => FieldError::Cancelled(cancelled),
        error => FieldError::Picture(error),
    })
}

/// The grey at a point of the part, 0 black to 100 white; beyond the picture's edge as at its
/// edge.
pub(super) fn at(placed: &Placed, at: SurfacePoint) -> f64 {
    let (pixel, _) = placed.pixel_at(at.point_mm, Some(at.facet));
    WHITE * placed.raster().grey_at(pixel.x, pixel.y)
}
