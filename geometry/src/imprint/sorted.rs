//! A picture's pixels sorted by a list of colours. Nothing here knows a colour: whoever opens the
//! plan reads the picture, and finds the place in the list that is nearest to each pixel.

use serde::{Deserialize, Serialize};

use super::smooth::{REACH, weights};
use crate::mask::MaskError;
use crate::mask::among::{self, MOST_COLOURS, Nearness};

/// One colour of a list: a mask with it covers where the picture's own colour is nearest to it. The
/// masks of all colours of a list share out what is not clear.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OneColour {
    /// The colour, as it stands in the list.
    pub colour: String,
    /// The list: sRGB codes.
    pub among: Vec<String>,
    /// How nearness is measured.
    #[serde(default, skip_serializing_if = "Nearness::is_difference")]
    pub by: Nearness,
}

impl OneColour {
    pub(super) fn check(&self) -> Result<(), MaskError> {
        among::check(&self.colour, &self.among)
    }

    /// The place of its colour in the list.
    pub fn place(&self) -> Option<u8> {
        among::place(&self.colour, &self.among)
    }
}

/// For each pixel of a picture, the place in a list of colours that it was given.
#[derive(Clone, PartialEq, Eq)]
pub struct Sorted {
    width: usize,
    height: usize,
    /// Rows from the top, pixels from the left.
    places: Vec<u8>,
}

impl std::fmt::Debug for Sorted {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Sorted({} × {})", self.width, self.height)
    }
}

impl Sorted {
    /// The place of a pixel that is clear.
    pub const CLEAR: u8 = u8::MAX;

    /// From the place of each pixel, rows from the top. `None` if there are none, or not as many as
    /// the sides say.
    pub fn new((width, height): (usize, usize), places: Vec<u8>) -> Option<Self> {
        let fits = !places.is_empty() && width.checked_mul(height) == Some(places.len());
        fits.then_some(Self {
            width,
            height,
            places,
        })
    }

    /// Pixels in a row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// How many pixels there are.
    pub fn pixels(&self) -> usize {
        self.places.len()
    }

    /// The place of a pixel; beyond the edge that of the nearest one.
    fn place(&self, x: isize, y: isize) -> u8 {
        let x = x.clamp(0, self.width as isize - 1) as usize;
        let y = y.clamp(0, self.height as isize - 1) as usize;
        let place = self.places.get(y * self.width + x);
        place.copied().unwrap_or(Self::CLEAR)
    }

    /// Values at the pixels, from -1 to 1 and above 0 where a place of the list has them. Each
    /// place has a share of a pixel and of what is about it, by a Gaussian; it is the share of
    /// one place less that of the next one. So two that meet have the same edge, and so have all
    /// of them and what is clear.
    pub(super) fn levels(&self, place: u8) -> Vec<f32> {
        let mixed = self.mixed();
        let weights = weights();
        let level = |(i, (own, mixed)): (usize, (&u8, bool))| match mixed {
            false if *own == place => 1.0,
            false => -1.0,
            true => self.level((i % self.width, i / self.width), place, &weights),
        };
        let all = self.places.iter().zip(mixed);
        all.enumerate().map(level).collect()
    }

    fn level(&self, (x, y): (usize, usize), place: u8, weights: &[(isize, f32)]) -> f32 {
        let mut shares = [0.0_f32; MOST_COLOURS];
        let mut opaque = 0.0;
        for (down, row) in weights {
            for (right, weight) in weights {
                let near = self.place(x as isize + right, y as isize + down);
                if let Some(share) = shares.get_mut(usize::from(near)) {
                    *share += row * weight;
                    opaque += row * weight;
                }
            }
        }
        let mut own = 0.0;
        let mut next = 0.0_f32;
        for (other, share) in shares.into_iter().enumerate() {
            match other == usize::from(place) {
                true => own = share,
                false => next = next.max(share),
            }
        }
        (own - next).min(2.0 * opaque - 1.0)
    }

    /// Whether there is more than one place within reach of a pixel.
    fn mixed(&self) -> Vec<bool> {
        let (width, height) = (self.width, self.height);
        let own = |i: usize| self.places.get(i);
        let differs = |i: usize| {
            let right = !(i + 1).is_multiple_of(width) && own(i) != own(i + 1);
            right || (i + width < width * height && own(i) != own(i + width))
        };
        let differ: Vec<bool> = (0..self.places.len()).map(differs).collect();
        // A pixel differs from its right or lower neighbour: it counts from one further off, too.
        let reach = REACH as usize;
        let wide = |line: &[bool], to: &mut [bool], step: usize, count: usize, start: usize| {
            let mut last: Option<usize> = None;
            let mut ahead = 0;
            for at in 0..count {
                while ahead < count && ahead <= at + reach {
                    if line.get(start + ahead * step) == Some(&true) {
                        last = Some(ahead);
                    }
                    ahead += 1;
                }
                if let Some(to) = to.get_mut(start + at * step) {
                    *to = last.is_some_and(|last| last + reach + 1 >= at);
                }
            }
        };
        let mut across = vec![false; differ.len()];
        (0..height).for_each(|row| wide(&differ, &mut across, 1, width, row * width));
        let mut both = vec![false; differ.len()];
        (0..width).for_each(|column| wide(&across, &mut both, width, height, column));
        both
    }
}
