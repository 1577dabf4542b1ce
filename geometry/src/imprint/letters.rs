//! A line of text that a plan has.

use serde::{Deserialize, Serialize};

use super::picture::{check_hash, is_zero};
use super::placed::Sheet;
use super::{Laid, Loaded, Placed};
use crate::mask::MaskError;
use crate::mask::values::{finite, positive};
use crate::{DVec3, Surface};

/// The most characters of a line.
const MOST_LETTERS: usize = 200;

/// Letters may be made bolder by this share of their height on each side, and no more: their
/// picture has so much room about it.
pub const MOST_BOLDER: f64 = 0.2;

/// A line of text, laid on the part. Its middle is half-way along the line, and half-way up its
/// capital letters.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Letters {
    /// The line.
    pub text: String,
    /// A font file, TTF or OTF, relative to the plan's folder; the one that comes with the
    /// program unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub font: Option<String>,
    /// The SHA-256 of the font file's bytes, as that of a picture.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// How it lies on the part.
    pub laid: Laid,
    /// The height of a capital letter, mm.
    pub height_mm: f64,
    /// By how much each stroke grows on either side, mm.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub bolder_mm: f64,
    /// By how much it is turned anticlockwise.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub turn_deg: f64,
    /// Whether left and right change places, before it is turned.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub mirror: bool,
    /// The line in its font, once that has been read.
    #[serde(skip)]
    pub content: Loaded,
}

impl Letters {
    /// Whether every value makes sense.
    pub(crate) fn check(&self) -> Result<(), MaskError> {
        let letters = self.text.chars().count();
        if self.text.trim().is_empty()
            || letters > MOST_LETTERS
            || self.text.contains(char::is_control)
        {
            return Err(MaskError::NoLine { letters });
        }
        if self.font.as_ref().is_some_and(|f| f.trim().is_empty()) {
            return Err(MaskError::NoFile);
        }
        check_hash(self.sha256.as_deref())?;
        self.laid.check()?;
        positive("height_mm", self.height_mm)?;
        finite("turn_deg", self.turn_deg)?;
        finite("bolder_mm", self.bolder_mm)?;
        let most_mm = MOST_BOLDER * self.height_mm;
        match (0.0..=most_mm).contains(&self.bolder_mm) {
            true => Ok(()),
            false => Err(MaskError::Bolder {
                value: self.bolder_mm,
                most_mm,
            }),
        }
    }

    /// The line at its place on a part.
    ///
    /// # Errors
    /// [`MaskError`] if a value makes no sense, or nobody has read the font.
    pub fn placed(&self, surface: &Surface) -> Result<Placed, MaskError> {
        Placed::new(self.sheet()?, &self.laid, surface)
    }

    /// Corners of a box about all points on which it may fall, mm.
    pub(crate) fn bounds_mm(&self) -> Result<(DVec3, DVec3), MaskError> {
        self.sheet()?.bounds_mm(&self.laid)
    }

    fn sheet(&self) -> Result<Sheet, MaskError> {
        self.check()?;
        let raster = self.content.raster().ok_or_else(|| self.unread())?;
        let turn = (self.turn_deg, self.mirror);
        Ok(Sheet::new(raster, self.height_mm, turn))
    }

    pub(crate) fn unread(&self) -> MaskError {
        MaskError::Unread {
            what: format!("the text '{}'", self.text),
        }
    }
}
