//! The colours of a flat picture, pixel by pixel.

use blend::{Lab, Srgb};
use geometry::imprint::Sorted;
use geometry::mask::Nearness;
use geometry::pieces::NO_LABEL;
use geometry::{Cancelled, Progress};
use picture::Picture;
use rayon::prelude::*;

use crate::Counted;
use crate::distinct::{Distinct, colour, packed};
use crate::labels::{nearest_of, weighting};

/// A pixel that is less opaque than this is clear.
const OPAQUE: f64 = 0.5;

/// Rows that are sorted between two looks at whether it was cancelled.
const ROWS: usize = 256;

/// The colours of a picture's pixels; what is clear has none.
#[derive(Clone, Debug, PartialEq)]
pub struct Flat {
    width: usize,
    height: usize,
    /// Rows from the top, pixels from the left.
    codes: Vec<u32>,
}

impl Flat {
    /// Takes every value for sRGB (IEC 61966-2-1), and what is more than half opaque for opaque.
    pub fn new(shown: &Picture) -> Self {
        let (width, height) = (shown.width(), shown.height());
        let pixel = |i: usize| {
            let [r, g, b, opacity] = shown.rgba(i % width.max(1), i / width.max(1));
            let code = [r, g, b].map(|value| (255.0 * value).round() as u8);
            packed((opacity > OPAQUE).then_some(Srgb(code)))
        };
        Self {
            width,
            height,
            codes: (0..width * height).into_par_iter().map(pixel).collect(),
        }
    }

    /// Pixels in a row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// How many pixels there are.
    pub fn pixels(&self) -> usize {
        self.codes.len()
    }

    /// Its colours by their areas, where a pixel has an area, mm².
    pub fn counted(&self, pixel_mm2: f64) -> Counted {
        let (distinct, places) = Distinct::of(self.codes.clone());
        Counted::of(
            &distinct,
            places.into_iter().map(|place| (place, pixel_mm2)),
        )
    }

    /// Its pixels by the colours of a list, each at the one that is nearest to its own. A line of
    /// one pixel is no area: it takes the nearest of the colours beside it. So the soft edge
    /// between two colours gets no third one. `None` if there are no pixels.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn sorted(
        &self,
        among: &[Lab],
        by: Nearness,
        progress: &Progress,
    ) -> Result<Option<Sorted>, Cancelled> {
        progress.stage("Sorting the picture's colours");
        let (distinct, of_pixels) = Distinct::of(self.codes.clone());
        let known = distinct.nearest(among, weighting(by));
        progress.check()?;
        let place = |place: &u32| known.get(*place as usize).copied().unwrap_or(NO_LABEL);
        let raw = Places {
            width: self.width,
            height: self.height,
            all: of_pixels.par_iter().map(place).collect(),
        };
        let broad = raw.broad();
        let mut places = Vec::with_capacity(self.codes.len());
        for start in (0..self.height).step_by(ROWS) {
            progress.check()?;
            let rows = start..(start + ROWS).min(self.height);
            let more = rows.into_par_iter().flat_map_iter(|y| {
                let (raw, broad) = (&raw, &broad);
                (0..self.width).map(move |x| self.settled((x, y), raw, broad, (among, by)))
            });
            places.par_extend(more);
        }
        Ok(Sorted::new((self.width, self.height), places))
    }

    /// The place that a pixel gets.
    fn settled(
        &self,
        (x, y): (usize, usize),
        raw: &Places,
        broad: &[bool],
        (among, by): (&[Lab], Nearness),
    ) -> u8 {
        let at = y * self.width + x;
        let own = raw.all.get(at).copied().unwrap_or(NO_LABEL);
        let Some(colour) = self.codes.get(at).and_then(|code| colour(*code)) else {
            return Sorted::CLEAR;
        };
        if broad.get(at) == Some(&true) {
            return own;
        }
        let beside = raw
            .around(x, y)
            .filter(|near| broad.get(*near) == Some(&true));
        let places = beside.filter_map(|near| raw.all.get(near).copied());
        let opaque = places.filter(|place| *place != NO_LABEL);
        nearest_of(colour, opaque, among, weighting(by)).unwrap_or(own)
    }
}

/// The place in a list of each pixel.
struct Places {
    width: usize,
    height: usize,
    all: Vec<u8>,
}

impl Places {
    /// Whether a pixel is in a square of two by two of one place. What is at the picture's edge goes
    /// on beyond it.
    fn broad(&self) -> Vec<bool> {
        let mut broad = vec![false; self.all.len()];
        // Squares by their lower right pixel.
        for y in 0..=self.height {
            for x in 0..=self.width {
                let (left, right) = (x.saturating_sub(1), x.min(self.width.saturating_sub(1)));
                let (top, low) = (y.saturating_sub(1), y.min(self.height.saturating_sub(1)));
                let square = [(left, top), (right, top), (left, low), (right, low)];
                let square = square.map(|(x, y)| y * self.width + x);
                let places = square.map(|at| self.all.get(at));
                if places.iter().all(|place| *place == places[0]) {
                    for at in square {
                        broad
                            .get_mut(at)
                            .into_iter()
                            .for_each(|broad| *broad = true);
                    }
                }
            }
        }
        broad
    }

    /// The pixels beside and across from one.
    fn around(&self, x: usize, y: usize) -> impl Iterator<Item = usize> + '_ {
        let rows = y.saturating_sub(1)..(y + 2).min(self.height);
        rows.flat_map(move |row| {
            let columns = x.saturating_sub(1)..(x + 2).min(self.width);
            columns.map(move |column| row * self.width + column)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::Xyz;

    const WHITE: [u8; 3] = [250, 250, 250];
    const PINK: [u8; 3] = [240, 160, 160];
    const RED: [u8; 3] = [220, 30, 30];

    fn flat(width: usize, colours: &[Option<[u8; 3]>]) -> Flat {
        Flat {
            width,
            height: colours.len() / width,
            codes: colours.iter().map(|c| packed(c.map(Srgb))).collect(),
        }
    }

    fn labs(codes: &[[u8; 3]]) -> Vec<Lab> {
        let lab = |code: &[u8; 3]| Xyz::from_srgb(Srgb(*code)).to_lab();
        codes.iter().map(lab).collect()
    }

    fn sorted(flat: &Flat, among: &[[u8; 3]]) -> Sorted {
        let found = flat.sorted(&labs(among), Nearness::Difference, &Progress::new());
        found.ok().flatten().expect("pixels")
    }

    fn rows(row: &[Option<[u8; 3]>]) -> Flat {
        flat(row.len(), &row.repeat(4))
    }

    fn wanted(width: usize, row: &[u8]) -> Sorted {
        Sorted::new((width, 4), row.repeat(4)).expect("pixels")
    }

    #[test]
    fn a_soft_edge_between_two_colours_gets_no_third() {
        let (white, pink, red) = (Some(WHITE), Some(PINK), Some(RED));
        let soft = rows(&[white, white, pink, red, red]);
        // Pink by itself is nearest to pink, and beside these two to white.
        assert_eq!(
            sorted(&soft, &[WHITE, PINK, RED]),
            wanted(5, &[0, 0, 0, 2, 2])
        );
        let broad = rows(&[white, white, pink, pink, red, red]);
        assert_eq!(
            sorted(&broad, &[WHITE, PINK, RED]),
            wanted(6, &[0, 0, 1, 1, 2, 2])
        );
    }

    #[test]
    fn what_is_clear_stays_clear() {
        let (white, red) = (Some(WHITE), Some(RED));
        let ring = rows(&[None, red, white, white, None, None]);
        const NONE: u8 = Sorted::CLEAR;
        // The one red pixel takes the white beside it, and never what is clear.
        let found = sorted(&ring, &[WHITE, RED]);
        assert_eq!(found, wanted(6, &[NONE, 0, 0, 0, NONE, NONE]));
        let counted = ring.counted(0.25);
        assert_eq!((counted.coloured_mm2(), counted.uncoloured_mm2), (3.0, 3.0));
    }

    #[test]
    fn a_dot_alone_keeps_its_place() {
        let dot = flat(1, &[Some(RED)]);
        let found = sorted(&dot, &[WHITE, RED]);
        assert_eq!(found, Sorted::new((1, 1), vec![1]).expect("a pixel"));
    }
}
