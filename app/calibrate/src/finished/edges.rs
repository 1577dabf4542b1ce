//! Where a photograph's colours change across a line.

use photograph::Photo;
use photograph::homography::Point;

/// The longer side of the picture that is looked through, px.
const LONGEST_PX: usize = 480;
/// A change of so much from one of its pixels to the next counts half, in roots of light.
const HALF: f64 = 0.02;
/// Less of a change than this is no edge, in roots of light.
const LEAST: f64 = 0.035;
/// A profile's step, px.
const STEP_PX: f64 = 0.25;

/// How much a small copy of a photograph changes, and in which direction, place by place.
pub struct EdgeMap {
    /// Pixels of the photograph for one of the copy.
    pub factor: f64,
    width: usize,
    height: usize,
    /// Squares and product of the slopes across and down, summed over the channels.
    slopes: Vec<[f32; 3]>,
}

impl EdgeMap {
    /// Of a photograph.
    pub fn of(photo: &Photo) -> Self {
        let factor = photo
            .width()
            .max(photo.height())
            .div_ceil(LONGEST_PX)
            .max(1);
        let (width, height) = (photo.width() / factor, photo.height() / factor);
        let mut values = Vec::with_capacity(width * height);
        for i in 0..width * height {
            let (x, y) = (i % width * factor, i / width * factor);
            let mut sum = [0.0; 3];
            for j in 0..factor * factor {
                let pixel = photo.pixel(x + j % factor, y + j / factor);
                for (sum, channel) in sum.iter_mut().zip(pixel) {
                    *sum += channel.max(0.0);
                }
            }
            values.push(sum.map(|v| (v / (factor * factor) as f32).sqrt()));
        }
        // Softened, so that an edge is felt a few pixels away.
        for _ in 0..2 {
            values = softened(&values, width, height);
        }
        let at = |x: usize, y: usize| values.get(y * width + x).copied().unwrap_or_default();
        let mut slopes = vec![[0.0; 3]; values.len()];
        for y in 1..height.saturating_sub(1) {
            for x in 1..width.saturating_sub(1) {
                let (left, right) = (at(x - 1, y), at(x + 1, y));
                let (above, below) = (at(x, y - 1), at(x, y + 1));
                if let Some(slope) = slopes.get_mut(y * width + x) {
                    let pairs = left.iter().zip(right).zip(above.iter().zip(below));
                    for ((left, right), (above, below)) in pairs {
                        let (across, down) = ((right - left) / 2.0, (below - above) / 2.0);
                        slope[0] += across * across;
                        slope[1] += across * down;
                        slope[2] += down * down;
                    }
                }
            }
        }
        Self {
            factor: factor as f64,
            width,
            height,
            slopes,
        }
    }

    /// How much it looks like an edge, 0 to 1, at a point of the copy and across a direction;
    /// `None` outside of it.
    pub fn edge(&self, (x, y): Point, (u, v): Point) -> Option<f64> {
        let inside = x >= 0.0 && y >= 0.0 && x < self.width as f64 && y < self.height as f64;
        if !inside {
            return None;
        }
        let [xx, xy, yy] = self.slopes.get(y as usize * self.width + x as usize)?;
        let square = f64::from(*xx) * u * u + 2.0 * f64::from(*xy) * u * v + f64::from(*yy) * v * v;
        let slope = square.max(0.0).sqrt();
        Some(slope / (slope + HALF))
    }
}

fn softened(values: &[[f32; 3]], width: usize, height: usize) -> Vec<[f32; 3]> {
    let mean = |i: usize| {
        let (x, y) = (i % width, i / width);
        let mut sum = [0.0; 3];
        let mut count = 0.0;
        for row in y.saturating_sub(1)..(y + 2).min(height) {
            for column in x.saturating_sub(1)..(x + 2).min(width) {
                let value = values
                    .get(row * width + column)
                    .copied()
                    .unwrap_or_default();
                for (sum, value) in sum.iter_mut().zip(value) {
                    *sum += value;
                }
                count += 1.0;
            }
        }
        sum.map(|v: f32| v / count)
    };
    (0..values.len()).map(mean).collect()
}

/// The light along a line across an outline, from within to without.
struct Profile {
    /// How far the first value is within, px.
    reach_px: f64,
    light: Vec<[f64; 3]>,
}

impl Profile {
    fn of(photo: &Photo, at: Point, out: Point, reach_px: f64) -> Option<Self> {
        let count = (2.0 * reach_px / STEP_PX) as usize;
        let light = (0..=count).map(|i| {
            let off = i as f64 * STEP_PX - reach_px;
            photo.at((at.0 + off * out.0, at.1 + off * out.1))
        });
        let light = light.collect::<Option<Vec<_>>>()?;
        Some(Self { reach_px, light })
    }

    fn mean(&self, range: std::ops::Range<usize>) -> Option<[f64; 3]> {
        let values = self.light.get(range)?;
        let mut sum = [0.0; 3];
        for value in values {
            for (sum, value) in sum.iter_mut().zip(value) {
                *sum += value.max(0.0) / values.len().max(1) as f64;
            }
        }
        Some(sum)
    }

    fn off_px(&self, index: f64) -> f64 {
        index * STEP_PX - self.reach_px
    }
}

/// How far off an outline's point the strongest change of colour is, px outwards; the nearer
/// counts the more. `None` where nothing changes, or beyond the picture.
pub fn strongest(photo: &Photo, at: Point, out: Point, reach_px: f64) -> Option<f64> {
    let wide = ((reach_px / 3.0).clamp(1.5, 4.0) / STEP_PX) as usize;
    let profile = Profile::of(photo, at, out, reach_px + wide as f64 * STEP_PX)?;
    let mut best: Option<(f64, f64)> = None;
    for i in (wide..profile.light.len().saturating_sub(wide)).step_by(2) {
        let (within, without) = (
            profile.mean(i - wide..i)?,
            profile.mean(i + 1..i + 1 + wide)?,
        );
        let pairs = within.iter().zip(without);
        let change: f64 = pairs.map(|(a, b)| (a.sqrt() - b.sqrt()).powi(2)).sum();
        let change = change.sqrt();
        let off = profile.off_px(i as f64);
        let worth = change * (1.0 - 0.6 * (off / reach_px).powi(2));
        if change > LEAST && best.is_none_or(|(most, _)| worth > most) {
            best = Some((worth, off));
        }
    }
    best.map(|(_, off)| off)
}

/// An edge between pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// How far out it is, px.
    pub off_px: f64,
    /// How wide it is from a tenth to nine tenths, px.
    pub width_px: f64,
}

/// Where the light is half of what it is on both sides, which no blur moves; within 3 px.
pub fn crossing(photo: &Photo, at: Point, out: Point) -> Option<Crossing> {
    const REACH_PX: f64 = 6.5;
    let profile = Profile::of(photo, at, out, REACH_PX)?;
    let end = (3.0 / STEP_PX) as usize;
    let count = profile.light.len();
    let (within, without) = (profile.mean(0..end)?, profile.mean(count - end..count)?);
    let mut way = [0.0; 3];
    let mut contrast = 0.0;
    for ((way, a), b) in way.iter_mut().zip(within).zip(without) {
        *way = b - a;
        contrast += (a.sqrt() - b.sqrt()).powi(2);
    }
    if contrast.sqrt() < LEAST {
        return None;
    }
    let length: f64 = way.iter().map(|v| v * v).sum();
    let part = |light: &[f64; 3]| {
        let sides = light.iter().zip(within).zip(way);
        sides.map(|((v, from), way)| (v - from) * way).sum::<f64>() / length
    };
    let parts: Vec<f64> = profile.light.iter().map(part).collect();
    let pairs = || parts.iter().zip(parts.iter().skip(1)).enumerate();
    let crossings = pairs().filter(|(_, (a, b))| **a <= 0.5 && **b > 0.5);
    let off_px = crossings
        .map(|(i, (a, b))| profile.off_px(i as f64 + (0.5 - a) / (b - a)))
        .min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let steepest = pairs().map(|(_, (a, b))| b - a).fold(1e-6, f64::max);
    (off_px.abs() < 3.5).then_some(Crossing {
        off_px,
        width_px: 0.8 / steepest * STEP_PX,
    })
}
