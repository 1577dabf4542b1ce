//! A photograph in linear light.

use picture::{Limits, Picture, PictureError, decode};

use crate::colour::ToLinear;

/// From this code value on (of 1) a channel is taken to be at its end.
const CLIPPED: f64 = 0.995;
/// Up to this code value a channel is taken to be at its other end: less than half a step of
/// 8 bits.
const CLIPPED_AT_ZERO: f64 = 0.4 / 255.0;

/// A photograph, upright, in linear light of sRGB's primaries.
pub struct Photo {
    width: usize,
    height: usize,
    /// Rows from the top.
    linear: Vec<[f32; 3]>,
    ends: Vec<Ends>,
    grey: bool,
}

/// Which of a pixel's channels are at an end of their codes, as the camera wrote them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ends(u8);

impl Ends {
    /// Whether a channel is at the upper end.
    pub fn blown(self) -> bool {
        self.0 & 8 != 0
    }

    /// Whether a channel (0 red, 1 green, 2 blue) is at zero.
    pub fn crushed(self, channel: usize) -> bool {
        self.0 >> channel.min(2) & 1 == 1
    }
}

/// Why a photograph can't be read: a clause that goes on from the file's name.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// It is no picture, a broken one, or too large.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// It has no colours.
    #[error(
        "is greyscale, so it shows no hue; save the photograph in colour. If the plastic itself is \
         grey, white or black, `tintfall read-photo --grey` reads its lightness"
    )]
    Grey,
    /// It was to have none, and has some.
    #[error("is in colour, which tells more than its greys would; leave --grey away")]
    NotGrey,
    /// Its colours can't be understood.
    #[error("{0}")]
    Colours(String),
}

impl Photo {
    /// Reads a photograph in colour from the bytes of its file.
    ///
    /// # Errors
    /// [`PhotoError`].
    pub fn read(bytes: &[u8]) -> Result<Self, PhotoError> {
        let picture = decode(bytes, &Limits::default())?;
        if without_hue(&picture) {
            return Err(PhotoError::Grey);
        }
        let to_linear = ToLinear::new(&picture.declared).map_err(PhotoError::Colours)?;
        Ok(Self::of(&picture, to_linear, false))
    }

    /// Reads a greyscale photograph: its light is the same in all channels, and says nothing of
    /// any hue.
    ///
    /// # Errors
    /// [`PhotoError`].
    pub fn read_grey(bytes: &[u8]) -> Result<Self, PhotoError> {
        let picture = decode(bytes, &Limits::default())?;
        if !without_hue(&picture) {
            return Err(PhotoError::NotGrey);
        }
        let to_linear = match picture.is_grey() {
            true => ToLinear::grey(&picture.declared),
            false => ToLinear::new(&picture.declared),
        };
        let to_linear = to_linear.map_err(PhotoError::Colours)?;
        Ok(Self::of(&picture, to_linear, true))
    }

    fn of(picture: &Picture, to_linear: ToLinear, grey: bool) -> Self {
        let codes = if picture.is_deep() { 65_536 } else { 256 };
        let coded = to_linear.coded(codes);
        let last = (codes - 1) as f64;
        let (width, height) = (picture.width(), picture.height());
        let mut linear = Vec::with_capacity(width * height);
        let mut ends = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let [r, g, b, _] = picture.rgba(x, y);
                let light = coded.light([r, g, b].map(|code| (code * last).round() as usize));
                linear.push(match grey {
                    true => [luminance(light); 3],
                    false => light,
                });
                let mut at = u8::from([r, g, b].iter().any(|code| *code >= CLIPPED)) << 3;
                for (channel, code) in [r, g, b].into_iter().enumerate() {
                    at |= u8::from(code <= CLIPPED_AT_ZERO) << channel;
                }
                ends.push(Ends(at));
            }
        }
        Self {
            width,
            height,
            linear,
            ends,
            grey,
        }
    }

    /// Whether it shows lightness alone.
    pub fn is_grey(&self) -> bool {
        self.grey
    }

    /// The whole number by which it is shrunk so that its longer side has no more than so many
    /// pixels.
    pub(crate) fn shrinks_to(&self, longest_px: usize) -> usize {
        self.width.max(self.height).div_ceil(longest_px).max(1)
    }

    /// Pixels in a row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// A pixel's linear light; black beyond the edge.
    pub fn pixel(&self, x: usize, y: usize) -> [f32; 3] {
        match x < self.width {
            true => self.linear.get(y * self.width + x).copied(),
            false => None,
        }
        .unwrap_or_default()
    }

    /// Which of a pixel's channels are at an end.
    pub fn ends(&self, x: usize, y: usize) -> Ends {
        match x < self.width {
            true => self.ends.get(y * self.width + x).copied(),
            false => None,
        }
        .unwrap_or_default()
    }

    /// The pixel that a point in pixels falls on; `None` outside the picture.
    pub fn pixel_at(&self, (x, y): (f64, f64)) -> Option<([f32; 3], Ends)> {
        let inside =
            (0.0..self.width as f64).contains(&x) && (0.0..self.height as f64).contains(&y);
        let (x, y) = (x as usize, y as usize);
        inside.then(|| (self.pixel(x, y), self.ends(x, y)))
    }

    /// Linear light at a point in pixels, from the upper left corner of the upper left pixel,
    /// between the pixels' middles; `None` outside the picture.
    pub fn at(&self, (x, y): (f64, f64)) -> Option<[f64; 3]> {
        let inside =
            (0.0..self.width as f64).contains(&x) && (0.0..self.height as f64).contains(&y);
        if !inside {
            return None;
        }
        let (x, y) = ((x - 0.5).max(0.0), (y - 0.5).max(0.0));
        let (column, row) = (x as usize, y as usize);
        let (right, below) = (
            (column + 1).min(self.width.saturating_sub(1)),
            (row + 1).min(self.height.saturating_sub(1)),
        );
        let (across, down) = (x - column as f64, y - row as f64);
        let corners = [
            (self.pixel(column, row), (1.0 - across) * (1.0 - down)),
            (self.pixel(right, row), across * (1.0 - down)),
            (self.pixel(column, below), (1.0 - across) * down),
            (self.pixel(right, below), across * down),
        ];
        let mut sum = [0.0; 3];
        for (light, weight) in corners {
            for (sum, light) in sum.iter_mut().zip(light) {
                *sum += weight * f64::from(light);
            }
        }
        Some(sum)
    }

    /// The luminance of a pixel in linear light (Rec. ITU-R BT.709), not below zero.
    pub(crate) fn luminance(&self, x: usize, y: usize) -> f32 {
        luminance(self.pixel(x, y))
    }

    /// The same between pixels.
    pub(crate) fn luminance_at(&self, point: (f64, f64)) -> Option<f64> {
        let [r, g, b] = self.at(point)?;
        Some((0.2126 * r + 0.7152 * g + 0.0722 * b).max(0.0))
    }
}

/// Whether a picture is greyscale, or saved in colour with no colour in any pixel.
fn without_hue(picture: &Picture) -> bool {
    let grey = |x, y| {
        let [r, g, b, _] = picture.rgba(x, y);
        r == g && g == b
    };
    picture.is_grey() || (0..picture.height()).all(|y| (0..picture.width()).all(|x| grey(x, y)))
}

pub(crate) fn luminance([r, g, b]: [f32; 3]) -> f32 {
    (0.2126 * r + 0.7152 * g + 0.0722 * b).max(0.0)
}
