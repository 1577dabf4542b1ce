//! What a picture may ask for.

use crate::PictureError;

/// The most that a picture may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The most pixels.
    pub pixels: u64,
    /// The most pixels for each byte of the file, beyond [`Limits::free_pixels`]: one that packs
    /// more is a drawing at best, and its pixels would take far more memory than the file is long.
    pub pixels_per_byte: u64,
    /// Pixels that any file may have.
    pub free_pixels: u64,
}

impl Default for Limits {
    /// 200 million pixels, which no camera in use goes beyond, and 4 million in any case.
    fn default() -> Self {
        Self {
            pixels: 200_000_000,
            pixels_per_byte: 16,
            free_pixels: 4_000_000,
        }
    }
}

impl Limits {
    /// Whether a picture of this size may be unpacked from so many bytes.
    pub(crate) fn check(&self, width: u64, height: u64, bytes: usize) -> Result<(), PictureError> {
        let pixels = width.saturating_mul(height);
        let bytes = bytes as u64;
        if pixels == 0 {
            return Err(PictureError::Empty);
        }
        if pixels > self.pixels {
            let most = self.pixels;
            return Err(PictureError::TooLarge { pixels, most });
        }
        if pixels
            > self
                .free_pixels
                .max(bytes.saturating_mul(self.pixels_per_byte))
        {
            return Err(PictureError::Blank { pixels, bytes });
        }
        Ok(())
    }
}
