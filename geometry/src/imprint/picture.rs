//! A picture that a plan names.

use serde::{Deserialize, Serialize};

use super::placed::Sheet;
use super::{Covers, Laid, Loaded, Placed};
use crate::mask::MaskError;
use crate::mask::values::{finite, positive};
use crate::{DVec3, Surface};

/// A picture from a file, laid on the part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Picture {
    /// The file, relative to the plan's folder.
    pub file: String,
    /// The SHA-256 of its bytes. Where a plan gives it, no other content will do; where it does
    /// not, it is filled in as the file is read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// How it lies on the part.
    pub laid: Laid,
    /// Its width, mm; its height follows.
    pub width_mm: f64,
    /// By how much it is turned anticlockwise.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub turn_deg: f64,
    /// Whether left and right change places, before it is turned.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub mirror: bool,
    /// What of it a mask covers; a fade takes all of its greys.
    #[serde(default, skip_serializing_if = "Covers::is_dark")]
    pub covers: Covers,
    /// The grey between dark and light, 0 black to 1 white.
    #[serde(default = "half", skip_serializing_if = "is_half")]
    pub threshold: f64,
    /// What the file shows, once it has been read.
    #[serde(skip)]
    pub content: Loaded,
}

pub(super) fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

fn half() -> f64 {
    0.5
}

fn is_half(value: &f64) -> bool {
    *value == half()
}

impl Picture {
    /// Whether every value makes sense.
    pub(crate) fn check(&self) -> Result<(), MaskError> {
        if self.file.trim().is_empty() {
            return Err(MaskError::NoFile);
        }
        check_hash(self.sha256.as_deref())?;
        self.laid.check()?;
        positive("width_mm", self.width_mm)?;
        finite("turn_deg", self.turn_deg)?;
        if let Covers::Colour(one) = &self.covers {
            one.check()?;
        }
        match self.threshold > 0.0 && self.threshold < 1.0 {
            true => Ok(()),
            false => Err(MaskError::Threshold {
                value: self.threshold,
            }),
        }
    }

    /// The picture at its place on a part.
    ///
    /// # Errors
    /// [`MaskError`] if a value makes no sense, or nobody has read the file.
    pub fn placed(&self, surface: &Surface) -> Result<Placed, MaskError> {
        Placed::new(self.sheet()?, &self.laid, surface)
    }

    /// The area that it covers where it lies flat, mm².
    ///
    /// # Errors
    /// As [`Picture::placed`].
    pub fn flat_area_mm2(&self) -> Result<f64, MaskError> {
        let pixel_mm = self.sheet()?.pixel_mm;
        let stencil = self.content.stencil(&self.covers, self.threshold);
        let area_px = stencil.ok_or_else(|| self.unread())?.area_px(0.0);
        Ok(area_px * pixel_mm * pixel_mm)
    }

    /// Corners of a box about all points on which it may fall, mm.
    pub(crate) fn bounds_mm(&self) -> Result<(DVec3, DVec3), MaskError> {
        self.sheet()?.bounds_mm(&self.laid)
    }

    fn sheet(&self) -> Result<Sheet, MaskError> {
        self.check()?;
        let raster = self.content.raster().ok_or_else(|| self.unread())?;
        let turn = (self.turn_deg, self.mirror);
        Ok(Sheet::new(raster, self.width_mm, turn))
    }

    pub(crate) fn unread(&self) -> MaskError {
        MaskError::Unread {
            what: format!("the picture '{}'", self.file),
        }
    }
}

pub(crate) fn check_hash(hash: Option<&str>) -> Result<(), MaskError> {
    let is_hash = |hash: &str| hash.len() == 64 && hash.bytes().all(|b| b.is_ascii_hexdigit());
    match hash.is_none_or(is_hash) {
        true => Ok(()),
        false => Err(MaskError::NoHash),
    }
}
