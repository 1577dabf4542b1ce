//! What a picture shows, as greys.

/// Greys of a picture, at the centres of its pixels: rows from the top, pixels from the left.
#[derive(Clone, PartialEq)]
pub struct Raster {
    width: usize,
    height: usize,
    /// On white paper, 0 black to 255 white.
    on_white: Vec<u8>,
    /// On black paper, where the picture is clear anywhere.
    on_black: Option<Vec<u8>>,
    /// How many pixels are as long as the size that a plan gives: a picture's width, or the
    /// height of a capital letter.
    size_px: f64,
}

/// A raster that is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0} × {1} pixels don't make a picture of 1 to {most} pixels", most = Raster::MOST_PIXELS)]
pub struct RasterError(usize, usize);

impl std::fmt::Debug for Raster {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Raster({} × {})", self.width, self.height)
    }
}

impl Raster {
    /// The most pixels: at 4096 × 4096 a pixel of a picture 200 mm wide is 0.05 mm.
    pub const MOST_PIXELS: usize = 4096 * 4096;

    /// From greys on white paper and, where the picture is clear anywhere, on black paper.
    ///
    /// # Errors
    /// [`RasterError`] if the sizes don't fit, or are beyond [`Raster::MOST_PIXELS`].
    pub fn new(
        (width, height): (usize, usize),
        on_white: Vec<u8>,
        on_black: Option<Vec<u8>>,
    ) -> Result<Self, RasterError> {
        let pixels = width.saturating_mul(height);
        let fits = |greys: &Vec<u8>| greys.len() == pixels;
        let good = pixels > 0
            && pixels <= Self::MOST_PIXELS
            && fits(&on_white)
            && on_black.as_ref().is_none_or(fits);
        match good {
            false => Err(RasterError(width, height)),
            true => Ok(Self {
                width,
                height,
                on_white,
                on_black,
                size_px: width as f64,
            }),
        }
    }

    /// The same, where another length than the width is what a plan gives, in pixels.
    #[must_use]
    pub fn sized_by(self, size_px: f64) -> Self {
        Self { size_px, ..self }
    }

    /// Pixels in a row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Pixels in the length that a plan gives.
    pub fn size_px(&self) -> f64 {
        self.size_px
    }

    /// A pixel's grey from 0 to 1 on white paper, or on black; beyond the edge that of the
    /// nearest pixel.
    pub(super) fn grey(&self, x: usize, y: usize, on_black: bool) -> f32 {
        let at = y.min(self.height - 1) * self.width + x.min(self.width - 1);
        let greys = match (&self.on_black, on_black) {
            (Some(greys), true) => greys,
            _ => &self.on_white,
        };
        f32::from(greys.get(at).copied().unwrap_or(255)) / 255.0
    }

    /// The grey on white paper at a place in pixels, from the upper left corner of the picture:
    /// between the centres of pixels it goes evenly from one to the next, and beyond the
    /// outermost ones it stays as it is.
    pub fn grey_at(&self, x: f64, y: f64) -> f64 {
        let (x, left) = split(x - 0.5, self.width);
        let (y, top) = split(y - 0.5, self.height);
        let grey = |x, y| f64::from(self.grey(x, y, false));
        let row = |row| grey(left, row) * (1.0 - x) + grey(left + 1, row) * x;
        row(top) * (1.0 - y) + row(top + 1) * y
    }
}

/// A place among so many samples: how far past a sample, 0 to 1, and which.
pub(super) fn split(place: f64, count: usize) -> (f64, usize) {
    let place = place.clamp(0.0, (count - 1) as f64);
    let whole = place.floor();
    (place - whole, whole as usize)
}
