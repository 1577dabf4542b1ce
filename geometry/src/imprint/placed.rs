//! A picture at its place and size on a part.

use std::sync::Arc;

use glam::{DVec2, DVec3};

use super::laid::{Seen, Way};
use super::on_skin::OnSkin;
use super::{Laid, Raster};
use crate::mask::MaskError;
use crate::{Progress, Surface};

/// A picture at its place and size on a part: from points to pixels.
#[derive(Clone, Debug)]
pub struct Placed {
    sheet: Sheet,
    lies: Lies,
    depth_mm: f64,
}

#[derive(Clone, Debug)]
enum Lies {
    /// Whatever the part's shape.
    Apart(Way),
    OnSkin(Arc<OnSkin>),
}

/// A picture at its size, before it is laid.
#[derive(Clone, Debug)]
pub(super) struct Sheet {
    raster: Arc<Raster>,
    /// Millimetres in a pixel.
    pub(super) pixel_mm: f64,
    /// The picture's right and up as seen.
    right: DVec2,
    up: DVec2,
}

/// Edges are sought so far about a picture, pixels.
const MARGIN_PX: f64 = 3.0;

impl Sheet {
    /// `size_mm` is the length that the raster says it is sized by; it is turned anticlockwise,
    /// after it was mirrored left to right.
    pub(super) fn new(raster: &Arc<Raster>, size_mm: f64, (turn_deg, mirror): (f64, bool)) -> Self {
        let turn = DVec2::from_angle(turn_deg.to_radians());
        Self {
            raster: Arc::clone(raster),
            pixel_mm: size_mm / raster.size_px(),
            right: if mirror { -turn } else { turn },
            up: turn.perp(),
        }
    }

    /// Half its width and height, mm, as it was drawn.
    fn own_half_mm(&self) -> DVec2 {
        let size = DVec2::new(self.raster.width() as f64, self.raster.height() as f64);
        size * 0.5 * self.pixel_mm
    }

    /// Half the width and height, mm, of the upright box about the picture where it lies flat.
    fn half_mm(&self) -> DVec2 {
        let half = self.own_half_mm();
        self.right.abs() * half.x + self.up.abs() * half.y
    }

    /// How far from its middle anything of it is at most, mm.
    fn reach_mm(&self) -> f64 {
        self.own_half_mm().length() + MARGIN_PX * self.pixel_mm
    }

    /// Corners of a box about all points on which it falls when it is laid so, mm.
    pub(super) fn bounds_mm(&self, laid: &Laid) -> Result<(DVec3, DVec3), MaskError> {
        let depth_mm = laid.depth_mm();
        Ok(match laid.way()? {
            Some(way) => way.bounds_mm(self.half_mm(), depth_mm),
            // The middle may be off the skin, and points off the skin too.
            None => {
                let by = DVec3::splat(self.reach_mm() + 2.0 * depth_mm);
                (laid.at_mm() - by, laid.at_mm() + by)
            }
        })
    }
}

impl Placed {
    /// Puts a picture at its place. For points of a part [`Placed::ready`] is called too.
    pub(super) fn new(sheet: Sheet, laid: &Laid, surface: &Surface) -> Result<Self, MaskError> {
        let lies = match laid.way()? {
            Some(way) => {
                let (wide_mm, most_mm) = (2.0 * sheet.half_mm().x, 2.0 * way.half_round_mm());
                // A hair more is rounding.
                if wide_mm > most_mm * (1.0 + 1e-9) {
                    return Err(MaskError::TooWide { wide_mm, most_mm });
                }
                Lies::Apart(way)
            }
            None => Lies::OnSkin(Arc::new(OnSkin::new(surface, laid, sheet.reach_mm())?)),
        };
        Ok(Self {
            sheet,
            lies,
            depth_mm: laid.depth_mm(),
        })
    }

    /// Made ready to tell where points of the part fall on the picture. Only on the skin does
    /// that take time, and without it no point falls on it there.
    ///
    /// # Errors
    /// [`MaskError`] if the skin about it is too involved, or the work was cancelled.
    pub fn ready(mut self, progress: &Progress) -> Result<Self, MaskError> {
        if let Lies::OnSkin(on_skin) = &self.lies {
            self.lies = Lies::OnSkin(Arc::new(on_skin.measured(progress)?));
        }
        Ok(self)
    }

    /// The picture.
    pub fn raster(&self) -> &Arc<Raster> {
        &self.sheet.raster
    }

    /// Millimetres in a pixel.
    pub fn pixel_mm(&self) -> f64 {
        self.sheet.pixel_mm
    }

    /// Where a point falls on the picture, in pixels right and down from its upper left corner,
    /// and how much of the depth is left there, mm: below 0 it doesn't take. `facet` is the one
    /// that a point of the skin lies on, if that is known.
    pub(crate) fn pixel_at(&self, point: DVec3, facet: Option<u32>) -> (DVec2, f64) {
        let Seen { on, off_mm } = match &self.lies {
            Lies::Apart(way) => way.see(point),
            Lies::OnSkin(on_skin) => on_skin.see(point, facet, self.depth_mm),
        };
        let sheet = &self.sheet;
        let on = DVec2::new(on.dot(sheet.right), -on.dot(sheet.up)) / sheet.pixel_mm;
        let corner = DVec2::new(sheet.raster.width() as f64, sheet.raster.height() as f64) * 0.5;
        (on + corner, self.depth_mm - off_mm)
    }

    /// The place of a point of the picture, mm: `share` is how far to its right and how far up,
    /// in halves of its width and height from its middle.
    pub fn point_mm(&self, share: DVec2) -> DVec3 {
        let on = self.flat_mm(share);
        match &self.lies {
            Lies::Apart(way) => way.place(on),
            Lies::OnSkin(on_skin) => on_skin.place(on).0,
        }
    }

    /// The direction in which one looks at such a point; of length 1.
    pub fn looking(&self, share: DVec2) -> DVec3 {
        let on = self.flat_mm(share);
        match &self.lies {
            Lies::Apart(way) => way.looking(on),
            Lies::OnSkin(on_skin) => -on_skin.place(on).1,
        }
    }

    /// Such a point where the picture lies flat, mm to the right and up.
    fn flat_mm(&self, share: DVec2) -> DVec2 {
        let on = share * self.sheet.own_half_mm();
        self.sheet.right * on.x + self.sheet.up * on.y
    }

    /// How far one may go from a point while its place on the picture moves by no more than so
    /// many pixels, mm. On the skin that is not known: steps in space say nothing of steps along
    /// it.
    pub(crate) fn room_mm(&self, point: DVec3, by_px: f64) -> f64 {
        match &self.lies {
            Lies::Apart(way) => way.room_mm(point, by_px * self.sheet.pixel_mm),
            Lies::OnSkin(_) => 0.0,
        }
    }

    /// On the skin, how far a point is off all that the picture may reach, mm; 0 within that.
    pub(crate) fn beyond_skin_mm(&self, point: DVec3) -> Option<f64> {
        match &self.lies {
            Lies::Apart(_) => None,
            Lies::OnSkin(on_skin) => Some(on_skin.beyond_mm(point, self.depth_mm)),
        }
    }
}
