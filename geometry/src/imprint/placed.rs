//! A picture at its place and size on a part.

use std::sync::Arc;

use glam::{DVec2, DVec3};

use super::laid::Way;
use super::{Laid, Raster};
use crate::mask::MaskError;

/// A picture at its place and size on a part: from points to pixels.
#[derive(Clone, Debug)]
pub struct Placed {
    raster: Arc<Raster>,
    way: Way,
    depth_mm: f64,
    /// Millimetres in a pixel.
    pixel_mm: f64,
    /// The picture's right and up as seen.
    right: DVec2,
    up: DVec2,
}

impl Placed {
    /// Puts a picture at its place. `size_mm` is the length that the raster says it is sized by;
    /// it is turned anticlockwise, after it was mirrored left to right.
    ///
    /// # Errors
    /// [`MaskError`] if a value makes no sense, or it would go round the part more than once.
    pub fn new(
        raster: &Arc<Raster>,
        laid: &Laid,
        size_mm: f64,
        (turn_deg, mirror): (f64, bool),
    ) -> Result<Self, MaskError> {
        let way = laid.way()?;
        let turn = DVec2::from_angle(turn_deg.to_radians());
        let placed = Self {
            raster: Arc::clone(raster),
            way,
            depth_mm: laid.depth_mm(),
            pixel_mm: size_mm / raster.size_px(),
            right: if mirror { -turn } else { turn },
            up: turn.perp(),
        };
        let (wide_mm, most_mm) = (2.0 * placed.half_mm().x, 2.0 * way.half_round_mm());
        // A hair more is rounding.
        match wide_mm > most_mm * (1.0 + 1e-9) {
            true => Err(MaskError::TooWide { wide_mm, most_mm }),
            false => Ok(placed),
        }
    }

    /// The picture.
    pub fn raster(&self) -> &Arc<Raster> {
        &self.raster
    }

    /// Millimetres in a pixel.
    pub fn pixel_mm(&self) -> f64 {
        self.pixel_mm
    }

    /// Half the width and height, mm, of the upright box about the picture where it lies flat.
    fn half_mm(&self) -> DVec2 {
        let half = DVec2::new(self.raster.width() as f64, self.raster.height() as f64);
        let half = half * 0.5 * self.pixel_mm;
        self.right.abs() * half.x + self.up.abs() * half.y
    }

    /// Where a point falls on the picture, in pixels right and down from its upper left corner,
    /// and how much of the depth is left there, mm: below 0 it doesn't take.
    pub(crate) fn pixel_at(&self, point: DVec3) -> (DVec2, f64) {
        let seen = self.way.see(point);
        let on = DVec2::new(seen.on.dot(self.right), -seen.on.dot(self.up)) / self.pixel_mm;
        let corner = DVec2::new(self.raster.width() as f64, self.raster.height() as f64) * 0.5;
        (on + corner, self.depth_mm - seen.off_mm)
    }

    /// The place of a point of the picture, mm: `share` is how far to its right and how far up,
    /// in halves of its width and height from its middle.
    pub fn point_mm(&self, share: DVec2) -> DVec3 {
        self.way.place(self.flat_mm(share))
    }

    /// The direction in which one looks at such a point; of length 1.
    pub fn looking(&self, share: DVec2) -> DVec3 {
        self.way.looking(self.flat_mm(share))
    }

    /// Such a point where the picture lies flat, mm to the right and up.
    fn flat_mm(&self, share: DVec2) -> DVec2 {
        let half = DVec2::new(self.raster.width() as f64, self.raster.height() as f64) * 0.5;
        let on = share * half * self.pixel_mm;
        self.right * on.x + self.up * on.y
    }

    /// How far one may go from a point while its place on the picture moves by no more than so
    /// many pixels, mm.
    pub(crate) fn room_mm(&self, point: DVec3, by_px: f64) -> f64 {
        self.way.room_mm(point, by_px * self.pixel_mm)
    }

    /// Corners of a box about all points on which it falls, mm.
    pub(crate) fn bounds_mm(&self) -> (DVec3, DVec3) {
        self.way.bounds_mm(self.half_mm(), self.depth_mm)
    }
}
