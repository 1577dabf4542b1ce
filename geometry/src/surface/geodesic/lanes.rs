//! How long ways over a hill are that are straight as seen from above, lane by lane.
//!
//! The disc about a line is cut into *lanes*, each of ways that lead straight away from the line:
//! strips to either side of it, and sectors about its ends. Each lane is cut into steps. For each
//! step the steepest facet that reaches into it is known, by its slope along the lane; so a way
//! is no longer than its steps at their steepest, one after the other.

use std::f64::consts::{FRAC_PI_2, PI};

use glam::DVec2;

/// Steps in a lane.
const STEPS: usize = 20;
/// Sectors about an end of the line, which is half a disc.
const SECTORS: usize = 40;
/// The most strips to one side of the line.
const STRIPS: usize = 40;
/// Room for rounding.
const ROOM: f64 = 1.0 + 1e-9;

/// The steepest slope of each step of each lane.
pub(super) struct Lanes {
    /// The line's length, mm: it runs along the x axis from 0.
    length_mm: f64,
    /// How far the lanes go, mm.
    near_mm: f64,
    strips: usize,
    /// Lanes one after the other: the sectors about the start, those about the end, the strips
    /// above the line and those below it.
    steepest: Vec<f32>,
}

impl Lanes {
    pub(super) fn new(length_mm: f64, near_mm: f64) -> Self {
        let strips = match length_mm > 0.0 {
            true => (STEPS as f64 * length_mm / near_mm).ceil() as usize,
            false => 0,
        };
        let strips = strips.min(STRIPS);
        Self {
            length_mm,
            near_mm,
            strips,
            steepest: vec![0.0; STEPS * 2 * (SECTORS + strips)],
        }
    }

    /// Puts in a facet, by its corners as seen and its slope along x and y.
    pub(super) fn put(&mut self, corners: [DVec2; 3], slope: DVec2) {
        let middle = (corners[0] + corners[1] + corners[2]) / 3.0;
        let size = corners.map(|corner| corner.distance_squared(middle));
        let size = size.into_iter().fold(0.0, f64::max).sqrt() * ROOM;
        if middle.x - size <= 0.0 {
            self.about_end(
                0,
                middle * DVec2::new(-1.0, 1.0),
                size,
                slope * DVec2::new(-1.0, 1.0),
            );
        }
        let beyond = middle - DVec2::X * self.length_mm;
        if beyond.x + size >= 0.0 {
            self.about_end(SECTORS, beyond, size, slope);
        }
        if self.strips > 0 {
            let of_mm = self.strips as f64 / self.length_mm;
            let strips = self.range(middle.x, size, of_mm, self.strips);
            let upper = 2 * SECTORS;
            for (first, y) in [(upper, middle.y), (upper + self.strips, -middle.y)] {
                if y + size >= 0.0 {
                    self.raise(first, strips.clone(), (y, size), slope.y.abs());
                }
            }
        }
    }

    /// The lanes about an end of the line, from which `middle` is seen along positive x.
    fn about_end(&mut self, first: usize, middle: DVec2, size: f64, slope: DVec2) {
        let off = middle.length();
        if off - size > self.near_mm {
            return;
        }
        let wide = size / off;
        // So near to the end that it is seen in most directions; also if it lies on it.
        if wide.is_nan() || wide >= 0.9 {
            self.raise(first, 0..SECTORS, (off, size), slope.length());
            return;
        }
        let steep = (slope.dot(middle) / off).abs() + slope.length() * wide;
        let angle = middle.y.atan2(middle.x) + FRAC_PI_2;
        let half = wide.asin() * ROOM;
        let sectors = self.range(angle, half, SECTORS as f64 / PI, SECTORS);
        self.raise(first, sectors, (off, size), steep);
    }

    /// The numbers, of so many, of the parts within a distance of a place.
    fn range(&self, place: f64, within: f64, of_unit: f64, count: usize) -> std::ops::Range<usize> {
        let from = ((place - within) * of_unit - 1e-9).floor().max(0.0) as usize;
        let to = ((place + within) * of_unit + 1e-9).floor().max(-1.0) + 1.0;
        from..(to as usize).min(count)
    }

    fn raise(
        &mut self,
        first: usize,
        lanes: std::ops::Range<usize>,
        (off, size): (f64, f64),
        steep: f64,
    ) {
        let steps = self.range(off, size, STEPS as f64 / self.near_mm, STEPS);
        // Rounded up, so that no way is longer than is said.
        let steep = (steep as f32).next_up();
        for lane in lanes {
            let begin = (first + lane) * STEPS;
            for step in &mut self.steepest[begin + steps.start.min(steps.end)..begin + steps.end] {
                *step = step.max(steep);
            }
        }
    }

    /// The length of the longest lane, mm.
    pub(super) fn longest_mm(&self) -> f64 {
        let step_mm = self.near_mm / STEPS as f64;
        let lanes = self.steepest.chunks_exact(STEPS);
        let lengths = lanes.map(|lane| {
            let slopes = lane.iter().map(|&slope| f64::from(slope));
            let factors = slopes.map(|slope| (1.0 + slope * slope).sqrt());
            step_mm * factors.sum::<f64>() * ROOM
        });
        lengths.fold(0.0, f64::max)
    }
}
