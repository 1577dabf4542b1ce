//! The greys of a picture.

use super::FieldError;
use crate::DVec3;
use crate::imprint::{Picture, Placed};

/// White.
const WHITE: f64 = 100.0;

pub(super) fn prepare(picture: &Picture) -> Result<Placed, FieldError> {
    picture.placed().map_err(FieldError::Picture)
}

/// The grey at a point of the part, 0 black to 100 white; beyond the picture's edge as at its
/// edge.
pub(super) fn at(placed: &Placed, point: DVec3) -> f64 {
    let (pixel, _) = placed.pixel_at(point);
    WHITE * placed.raster().grey_at(pixel.x, pixel.y)
}
