//! Colours to draw with.

use blend::Srgb;
use tiny_skia::Paint;

/// A colour to draw with, straight alpha.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Ink {
    /// Red, green, blue, alpha.
    pub rgba: [u8; 4],
}

impl Ink {
    /// A colour that hides what lies beneath.
    pub(crate) const fn opaque(r: u8, g: u8, b: u8) -> Self {
        Self {
            rgba: [r, g, b, 255],
        }
    }

    /// A colour of the part.
    pub(crate) fn of(colour: Srgb) -> Self {
        let [r, g, b] = colour.0;
        Self::opaque(r, g, b)
    }

    pub(super) fn paint(self) -> Paint<'static> {
        let [r, g, b, a] = self.rgba;
        let mut paint = Paint::default();
        paint.set_color_rgba8(r, g, b, a);
        paint
    }
}
