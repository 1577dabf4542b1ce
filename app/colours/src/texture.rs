//! A texture, decoded.

use geometry::appearance::{Texture, Wrap};
use picture::{Limits, PictureError, decode};
use rayon::prelude::*;

/// The most pixels of a texture: 8192 by 8192.
const MOST_PIXELS: u64 = 1 << 26;

/// Code values of sRGB, pixel by pixel. What is not opaque counts as if it were, for plastic is.
pub(crate) struct Decoded {
    width: usize,
    height: usize,
    pixels: Vec<[u8; 3]>,
}

impl Decoded {
    pub(crate) fn new(texture: &Texture) -> Result<Self, PictureError> {
        let limits = Limits {
            pixels: MOST_PIXELS,
            ..Limits::default()
        };
        let shown = decode(&texture.bytes, &limits)?;
        let (width, height) = (shown.width(), shown.height());
        let pixel = |i: usize| {
            let [r, g, b, _] = shown.rgba(i % width, i / width);
            [r, g, b].map(|part| (part * 255.0).round() as u8)
        };
        Ok(Self {
            width,
            height,
            pixels: (0..width * height).into_par_iter().map(pixel).collect(),
        })
    }

    /// The pixel at a place from the left and from the top, 1 being the texture's size.
    pub(crate) fn at(&self, [u, v]: [f64; 2], [across, down]: [Wrap; 2]) -> [u8; 3] {
        let x = pixel(u, self.width, across);
        let y = pixel(v, self.height, down);
        self.pixels
            .get(y * self.width + x)
            .copied()
            .unwrap_or([255; 3])
    }
}

fn pixel(place: f64, count: usize, wrap: Wrap) -> usize {
    let place = match wrap {
        Wrap::Repeat => place - place.floor(),
        Wrap::Clamp => place.clamp(0.0, 1.0),
        Wrap::Mirror => 1.0 - (place.rem_euclid(2.0) - 1.0).abs(),
    };
    ((place * count as f64) as usize).min(count.saturating_sub(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beyond_its_edges_a_texture_goes_on_as_it_says() {
        let at = |place, wrap| pixel(place, 4, wrap);
        assert_eq!(
            [0.0, 0.26, 0.99, 1.0].map(|p| at(p, Wrap::Repeat)),
            [0, 1, 3, 0]
        );
        assert_eq!([-0.01, 1.3, 7.6].map(|p| at(p, Wrap::Repeat)), [3, 1, 2]);
        assert_eq!([-0.3, 1.0, 1.3].map(|p| at(p, Wrap::Clamp)), [0, 3, 3]);
        assert_eq!(
            [0.1, 1.1, 1.9, 2.1, -0.1].map(|p| at(p, Wrap::Mirror)),
            [0, 3, 0, 0, 0]
        );
        assert_eq!(at(f64::NAN, Wrap::Repeat), 0);
    }
}
