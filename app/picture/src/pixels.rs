//! A picture in memory.

use blend::Srgb;

use crate::Orientation;

/// A picture, upright: samples as the file codes them.
#[derive(Clone, PartialEq)]
pub struct Picture {
    /// Pixels in a row.
    pub(crate) width: usize,
    /// Rows.
    pub(crate) height: usize,
    /// 1 grey, 2 grey and opacity, 3 red, green and blue, 4 these and opacity.
    pub(crate) channels: usize,
    /// Rows from the top, pixels from the left, channels of a pixel together; full scale 65535.
    pub(crate) samples: Samples,
    /// What the file says of its colours.
    pub declared: Declared,
}

/// What a file says of how its samples stand for colours. Without any of it they are taken for
/// sRGB (IEC 61966-2-1).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Declared {
    /// The bytes of an ICC profile.
    pub icc: Option<Vec<u8>>,
    /// A PNG's cICP chunk (ITU-T H.273): the numbers of primaries and transfer, and whether the
    /// codes go over their full range.
    pub cicp: Option<(u8, u8, bool)>,
    /// Whether a PNG says that it is sRGB.
    pub srgb: bool,
    /// The exponent in a PNG's gAMA chunk; 0.45455 is that of sRGB.
    pub gamma: Option<f64>,
    /// The white point and primaries in a PNG's cHRM chunk, CIE x and y: white, red, green, blue.
    pub chromaticities: Option<[[f64; 2]; 4]>,
}

#[derive(Clone, PartialEq)]
pub(crate) enum Samples {
    Eight(Vec<u8>),
    Sixteen(Vec<u16>),
}

impl std::fmt::Debug for Picture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (width, height, channels) = (self.width, self.height, self.channels);
        write!(f, "Picture({width} × {height}, {channels} channels)")
    }
}

impl Picture {
    /// Pixels in a row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Whether the file has greys alone.
    pub fn is_grey(&self) -> bool {
        self.channels < 3
    }

    /// Whether its samples have more than 8 bits.
    pub fn is_deep(&self) -> bool {
        matches!(self.samples, Samples::Sixteen(_))
    }

    /// A pixel's red, green, blue and opacity as coded, 0 to 1, from the left and the top; one
    /// beyond the edge is clear black. Opacity is 1 where the file has none.
    pub fn rgba(&self, x: usize, y: usize) -> [f64; 4] {
        if x >= self.width || y >= self.height {
            return [0.0; 4];
        }
        let first = (y * self.width + x) * self.channels;
        let sample = |channel: usize| match &self.samples {
            Samples::Eight(all) => {
                f64::from(all.get(first + channel).copied().unwrap_or(0)) / 255.0
            }
            Samples::Sixteen(all) => {
                f64::from(all.get(first + channel).copied().unwrap_or(0)) / 65535.0
            }
        };
        match self.channels {
            1 => [sample(0), sample(0), sample(0), 1.0],
            2 => [sample(0), sample(0), sample(0), sample(1)],
            3 => [sample(0), sample(1), sample(2), 1.0],
            _ => [sample(0), sample(1), sample(2), sample(3)],
        }
    }

    /// A pixel's grey, 0 black to 1 white: the sRGB code of its luminance (IEC 61966-2-1, and the
    /// weights of Rec. ITU-R BT.709), over paper of a grey from 0 to 1 where it is not opaque.
    pub fn grey(&self, x: usize, y: usize, paper: f64) -> f64 {
        let [r, g, b, opacity] = self.rgba(x, y);
        let grey = match r == g && g == b {
            true => r,
            false => Srgb::code(
                0.2126 * Srgb::linear(r) + 0.7152 * Srgb::linear(g) + 0.0722 * Srgb::linear(b),
            ),
        };
        paper + (grey - paper) * opacity
    }

    /// The same picture as its orientation says that it should be seen.
    pub(crate) fn upright(self, orientation: Orientation) -> Self {
        if orientation == Orientation::Upright {
            return self;
        }
        let (width, height) = match orientation.turns_sides() {
            true => (self.height, self.width),
            false => (self.width, self.height),
        };
        let from = |i: usize| {
            let (x, y) = (i % width.max(1), i / width.max(1));
            let (x, y) = orientation.stored_at((x, y), (self.width, self.height));
            (y * self.width + x) * self.channels
        };
        let pixels = width * height;
        let samples = match &self.samples {
            Samples::Eight(all) => Samples::Eight(moved(all, pixels, self.channels, from)),
            Samples::Sixteen(all) => Samples::Sixteen(moved(all, pixels, self.channels, from)),
        };
        Self {
            width,
            height,
            samples,
            ..self
        }
    }
}

fn moved<T: Copy>(
    all: &[T],
    pixels: usize,
    channels: usize,
    from: impl Fn(usize) -> usize,
) -> Vec<T> {
    let pixel = |i: usize| {
        let first = from(i);
        all.get(first..first + channels).unwrap_or(&[])
    };
    (0..pixels).flat_map(pixel).copied().collect()
}
