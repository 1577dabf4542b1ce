//! The edge between a picture's dark and light, as a signed distance.

use glam::DVec2;
use serde::{Deserialize, Serialize};

use super::contour::contour;
use super::distance::distances;
use super::raster::split;
use super::smooth::smoothed;
use super::{OneColour, Raster, Sorted};

/// What of a picture a mask covers.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Covers {
    /// What is darker than the threshold.
    #[default]
    Dark,
    /// What is not darker, and not clear.
    Light,
    /// All of the picture's rectangle.
    Frame,
    /// Where its own colour is nearest to one of a list, and it is not clear.
    Colour(OneColour),
}

impl Covers {
    pub(crate) fn is_dark(&self) -> bool {
        *self == Self::Dark
    }
}

/// Pixels about the picture for which distances are kept.
const MARGIN: usize = 2;

/// Two neighbours at an edge that differ by this or more leave open where between them it is.
const HARD: f32 = 0.9;

/// Signed distances from an edge, in pixels: above 0 within, and between pixels interpolated.
#[derive(Clone, Debug, PartialEq)]
pub struct Stencil {
    width: usize,
    height: usize,
    /// At the centres of pixels, the margin among them. Neighbours differ by 1 at most.
    within_px: Vec<f32>,
}

impl Stencil {
    /// The edge of what a mask covers of a picture's greys; `threshold` is a grey from 0 to 1. Of a
    /// colour they know nothing: see [`Stencil::of_colour`].
    pub fn new(raster: &Raster, covers: &Covers, threshold: f64) -> Self {
        let (width, height) = (raster.width(), raster.height());
        let threshold = threshold as f32;
        let level = |x: usize, y: usize| match covers {
            Covers::Dark => threshold - raster.grey(x, y, false),
            Covers::Light => raster.grey(x, y, true) - threshold,
            Covers::Frame => 1.0,
            Covers::Colour(_) => -1.0,
        };
        let rows = 0..height;
        let mut levels: Vec<f32> = rows
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| level(x, y))
            .collect();
        if is_hard(&levels, width) {
            levels = smoothed(&levels, width, height);
        }
        Self::of_levels(&levels, width, height)
    }

    /// The edge of one colour of a picture, by its place in the list that the pixels were sorted by.
    pub fn of_colour(sorted: &Sorted, place: u8) -> Self {
        Self::of_levels(&sorted.levels(place), sorted.width(), sorted.height())
    }

    /// From values at pixels that are above 0 within. Beyond the picture there is nothing, and
    /// its own edge is an edge where anything within touches it.
    fn of_levels(levels: &[f32], width: usize, height: usize) -> Self {
        let (wide, high) = (width + 2 * MARGIN, height + 2 * MARGIN);
        let level = |i: usize| {
            let (x, y) = (i % wide, i / wide);
            let within = |at: usize, count: usize| (MARGIN..MARGIN + count).contains(&at);
            let nearest = |at: usize, count: usize| at.saturating_sub(MARGIN).min(count - 1);
            let value = levels
                .get(nearest(y, height) * width + nearest(x, width))
                .copied()
                .unwrap_or(-1.0);
            match within(x, width) && within(y, height) {
                true => value,
                // As far below 0 as its neighbour is above: the edge is half-way.
                false => -value.abs().max(1e-6),
            }
        };
        let padded: Vec<f32> = (0..wide * high).map(level).collect();
        let segments = contour(&padded, wide, high);
        Self {
            within_px: distances(&padded, wide, high, &segments),
            width: wide,
            height: high,
        }
    }

    /// How far within the edge a place of the picture is, in pixels, when the edge is moved
    /// outwards by so many; and how far the place may move without a change of the sign.
    pub(crate) fn within(&self, pixel: DVec2, outwards_px: f64) -> (f64, f64) {
        let place = pixel + (MARGIN as f64 - 0.5);
        let last = DVec2::new((self.width - 1) as f64, (self.height - 1) as f64);
        let beyond = place.distance(place.clamp(DVec2::ZERO, last));
        if beyond > 0.0 {
            // The margin is more than the rest of the way.
            return (-beyond - 1.0, (beyond - outwards_px).max(0.0));
        }
        let (x, left) = split(place.x, self.width);
        let (y, top) = split(place.y, self.height);
        let row = |row: usize| self.sample(left, row) * (1.0 - x) + self.sample(left + 1, row) * x;
        let within = row(top) * (1.0 - y) + row(top + 1) * y + outwards_px;
        // Between pixels the slope along rows and columns is 1 at most.
        (within, within.abs() * std::f64::consts::FRAC_1_SQRT_2)
    }

    fn sample(&self, x: usize, y: usize) -> f64 {
        let at = y.min(self.height - 1) * self.width + x.min(self.width - 1);
        f64::from(self.within_px.get(at).copied().unwrap_or(f32::MIN))
    }

    /// The area within, in square pixels, when the edge is moved outwards by so many pixels.
    pub fn area_px(&self, outwards_px: f64) -> f64 {
        let share = |within: &f32| (f64::from(*within) + outwards_px + 0.5).clamp(0.0, 1.0);
        self.within_px.iter().map(share).sum()
    }

    /// The share of the area within that is in details narrower than a width, in pixels, when the
    /// edge is moved outwards by so many: what a round pen of that width can't draw. Corners that
    /// a pen rounds are left out up to a right angle.
    pub fn share_finer_than(&self, width_px: f64, outwards_px: f64) -> f64 {
        let radius = 0.5 * width_px;
        let by = (outwards_px - radius) as f32;
        let core: Vec<f32> = self.within_px.iter().map(|within| within + by).collect();
        let core = Self::of_levels(&core, self.width, self.height);
        // A right-angled corner is √2 radii from where the pen's middle can go.
        let reach = -std::f64::consts::SQRT_2 * radius - 0.5;
        let (mut all, mut lost) = (0usize, 0usize);
        for (i, within) in self.within_px.iter().enumerate() {
            if f64::from(*within) + outwards_px > 0.0 {
                all += 1;
                let (x, y) = (i % self.width + MARGIN, i / self.width + MARGIN);
                lost += usize::from(core.sample(x, y) < reach);
            }
        }
        lost as f64 / all.max(1) as f64
    }
}

/// Whether most neighbours at the edge are as black and as white as can be.
fn is_hard(levels: &[f32], width: usize) -> bool {
    let (mut hard, mut all) = (0usize, 0usize);
    let mut see = |a: Option<&f32>, b: Option<&f32>| {
        if let (Some(a), Some(b)) = (a, b)
            && (*a > 0.0) != (*b > 0.0)
        {
            all += 1;
            hard += usize::from((a - b).abs() >= HARD);
        }
    };
    for i in 0..levels.len() {
        if (i + 1) % width != 0 {
            see(levels.get(i), levels.get(i + 1));
        }
        see(levels.get(i), levels.get(i + width));
    }
    2 * hard > all
}
