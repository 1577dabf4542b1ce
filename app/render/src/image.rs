//! A finished picture.

use std::io;
use std::sync::LazyLock;

use blend::Xyz;

use crate::strips;

/// A picture in 8-bit sRGB with a straight (not multiplied) alpha, rows from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    width_px: u32,
    height_px: u32,
    rgba: Vec<u8>,
}

impl Image {
    /// A see-through picture.
    pub fn clear(width_px: u32, height_px: u32) -> Self {
        Self {
            width_px,
            height_px,
            rgba: vec![0; width_px as usize * height_px as usize * 4],
        }
    }

    /// Takes pixels, four bytes each; `None` when their number is wrong.
    pub fn from_rgba(width_px: u32, height_px: u32, rgba: Vec<u8>) -> Option<Self> {
        (rgba.len() == width_px as usize * height_px as usize * 4).then_some(Self {
            width_px,
            height_px,
            rgba,
        })
    }

    /// Width.
    pub fn width_px(&self) -> u32 {
        self.width_px
    }

    /// Height.
    pub fn height_px(&self) -> u32 {
        self.height_px
    }

    /// All pixels, four bytes each.
    pub fn rgba(&self) -> &[u8] {
        &self.rgba
    }

    /// One pixel; `None` outside the picture.
    pub fn pixel(&self, x: u32, y: u32) -> Option<[u8; 4]> {
        if x >= self.width_px || y >= self.height_px {
            return None;
        }
        let start = (y as usize * self.width_px as usize + x as usize) * 4;
        self.rgba.get(start..start + 4)?.try_into().ok()
    }

    pub(super) fn rows_mut(&mut self) -> std::slice::ChunksExactMut<'_, u8> {
        self.rgba.chunks_exact_mut(self.width_px as usize * 4)
    }

    /// Writes it as PNG with the sRGB mark (ISO/IEC 15948), on all cores if it is large.
    ///
    /// # Errors
    /// What the writer says.
    pub fn write_png(&self, out: impl io::Write) -> io::Result<()> {
        let mut encoder = png::Encoder::new(out, self.width_px, self.height_px);
        encoder.set_color(png::ColorType::Rgba);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
        let mut writer = encoder.write_header()?;
        match strips::stream(&self.rgba, self.width_px as usize * 4) {
            Some(pieces) => pieces?
                .iter()
                .try_for_each(|piece| writer.write_chunk(png::chunk::IDAT, piece))?,
            None => writer.write_image_data(&self.rgba)?,
        }
        writer.finish()?;
        Ok(())
    }
}

/// Steps of linear light for which the sRGB code is worked out beforehand. Fine enough that
/// the code is exact but for places where two codes meet.
const STEPS: usize = 1 << 14;

static CODES: LazyLock<Vec<u8>> =
    LazyLock::new(|| (0..=STEPS).map(|i| code(i as f64 / STEPS as f64)).collect());

/// The 8-bit code of a grey of some linear light.
fn code(linear: f64) -> u8 {
    let [code, ..] = Xyz::from_linear_srgb([linear; 3]).to_srgb().0;
    code
}

/// A pixel from linear light multiplied by its cover, and the cover.
pub(super) fn encoded(rgb: [f64; 3], cover: f64) -> [u8; 4] {
    if cover <= 0.0 {
        return [0; 4];
    }
    let [r, g, b] = rgb.map(|c| {
        let step = (c / cover * STEPS as f64).round().clamp(0.0, STEPS as f64);
        CODES.get(step as usize).copied().unwrap_or(255)
    });
    [r, g, b, (cover * 255.0).round().clamp(0.0, 255.0) as u8]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_codes() {
        // IEC 61966-2-1: code 188 is 0.5029 and code 55 is 0.0382 in linear light.
        assert_eq!(encoded([0.5029, 0.0382, 1.0], 1.0), [188, 55, 255, 255]);
        assert_eq!(encoded([0.0; 3], 0.0), [0; 4]);
        assert_eq!(encoded([0.25; 3], 0.5), [188, 188, 188, 128]);
    }
}
