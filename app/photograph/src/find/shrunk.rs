//! A small grey picture to look for marks in.

use crate::Photo;

/// The longer side that is looked through, px.
const LONGEST_PX: usize = 1600;

/// Greys, rows from the top.
pub(super) struct Grey {
    pub(super) width: usize,
    pub(super) height: usize,
    /// Roots of the luminance.
    pub(super) values: Vec<f32>,
}

/// The photograph, shrunk by the whole number that is told with it.
pub(super) fn shrunk(photo: &Photo) -> (Grey, f64) {
    let factor = photo.shrinks_to(LONGEST_PX);
    let (width, height) = (photo.width() / factor, photo.height() / factor);
    let values = (0..width * height).map(|i| {
        let (x, y) = (i % width * factor, i / width * factor);
        let mut sum = 0.0;
        for j in 0..factor * factor {
            sum += photo.luminance(x + j % factor, y + j / factor);
        }
        (sum / (factor * factor) as f32).sqrt()
    });
    let grey = Grey {
        width,
        height,
        values: values.collect(),
    };
    (grey, factor as f64)
}

impl Grey {
    /// Which pixels are darker than what is about them.
    pub(super) fn dark(&self) -> Vec<bool> {
        /// The window's half side, as a share of the longer side: a little more than a mark.
        const AROUND: usize = 16;
        /// How much darker.
        const DARKER: f64 = 0.92;
        let around = (self.width.max(self.height) / AROUND).max(2);
        // Sums over all above and to the left, with an empty row and column before.
        let stride = self.width + 1;
        let mut sums = vec![0.0_f64; stride * (self.height + 1)];
        for y in 0..self.height {
            let mut row = 0.0;
            for x in 0..self.width {
                row += f64::from(self.values.get(y * self.width + x).copied().unwrap_or(0.0));
                let above = sums.get(y * stride + x + 1).copied().unwrap_or(0.0);
                if let Some(sum) = sums.get_mut((y + 1) * stride + x + 1) {
                    *sum = above + row;
                }
            }
        }
        let sum = |x: usize, y: usize| sums.get(y * stride + x).copied().unwrap_or(0.0);
        let is_dark = |i: usize| {
            let (x, y) = (i % self.width.max(1), i / self.width.max(1));
            let (left, right) = (x.saturating_sub(around), (x + around + 1).min(self.width));
            let (top, bottom) = (y.saturating_sub(around), (y + around + 1).min(self.height));
            let total = sum(right, bottom) + sum(left, top) - sum(left, bottom) - sum(right, top);
            let mean = total / ((right - left) * (bottom - top)) as f64;
            self.values
                .get(i)
                .is_some_and(|v| f64::from(*v) < DARKER * mean)
        };
        (0..self.width * self.height).map(is_dark).collect()
    }
}
