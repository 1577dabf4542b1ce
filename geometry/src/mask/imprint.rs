//! A picture or a line of text, laid on the part: what is within its edge and its depth.

use std::sync::Arc;

use glam::DVec3;

use super::MaskError;
use crate::imprint::{Covers, Letters, Picture, Placed, Stencil};
use crate::{Progress, Surface, SurfacePoint};

/// A picture's dark or light, or letters, at their place.
#[derive(Clone, Debug)]
pub struct PreparedImprint {
    placed: Placed,
    stencil: Arc<Stencil>,
    /// By how much the edge is moved outwards, pixels.
    outwards_px: f64,
}

impl PreparedImprint {
    /// Of a picture.
    ///
    /// # Errors
    /// [`MaskError`] if a value makes no sense, nobody has read the file, or the work was
    /// cancelled.
    pub fn of_picture(
        picture: &Picture,
        surface: &Surface,
        progress: &Progress,
    ) -> Result<Self, MaskError> {
        let placed = picture.placed(surface)?.ready(progress)?;
        let stencil = picture.content.stencil(&picture.covers, picture.threshold);
        Ok(Self {
            stencil: stencil.ok_or_else(|| picture.unread())?,
            placed,
            outwards_px: 0.0,
        })
    }

    /// Of a line of text.
    ///
    /// # Errors
    /// As [`PreparedImprint::of_picture`].
    pub fn of_letters(
        letters: &Letters,
        surface: &Surface,
        progress: &Progress,
    ) -> Result<Self, MaskError> {
        let placed = letters.placed(surface)?.ready(progress)?;
        let stencil = letters.content.stencil(&Covers::Dark, 0.5);
        Ok(Self {
            stencil: stencil.ok_or_else(|| letters.unread())?,
            outwards_px: letters.bolder_mm / placed.pixel_mm(),
            placed,
        })
    }

    pub(super) fn contains(&self, at: SurfacePoint) -> bool {
        let (pixel, deep_mm) = self.placed.pixel_at(at.point_mm, Some(at.facet));
        deep_mm >= 0.0 && self.stencil.within(pixel, self.outwards_px).0 > 0.0
    }

    pub(super) fn clearance_mm(&self, point: DVec3) -> f64 {
        if let Some(beyond_mm) = self.placed.beyond_skin_mm(point) {
            return beyond_mm;
        }
        let (pixel, deep_mm) = self.placed.pixel_at(point, None);
        let (within, slack_px) = self.stencil.within(pixel, self.outwards_px);
        let flat_mm = self.placed.room_mm(point, slack_px);
        match (within > 0.0, deep_mm >= 0.0) {
            (true, true) => flat_mm.min(deep_mm),
            (true, false) => -deep_mm,
            (false, true) => flat_mm,
            (false, false) => flat_mm.max(-deep_mm),
        }
    }

    /// The share of what is covered that lies in details narrower than a width, mm, where the
    /// picture lies flat.
    pub fn share_finer_than(&self, width_mm: f64) -> f64 {
        let pixel_mm = self.placed.pixel_mm();
        self.stencil
            .share_finer_than(width_mm / pixel_mm, self.outwards_px)
    }

    /// The area covered where the picture lies flat, mm².
    pub fn flat_area_mm2(&self) -> f64 {
        let pixel_mm = self.placed.pixel_mm();
        self.stencil.area_px(self.outwards_px) * pixel_mm * pixel_mm
    }
}
