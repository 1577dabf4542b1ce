//! What was read where, drawn on the photograph.

use crate::Photo;
use crate::homography::Point;

/// The longer side of the drawing, px.
const LONGEST_PX: usize = 2000;

/// A closed line to draw, in the photograph's px, and its colour.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Its corners.
    pub points: Vec<Point>,
    /// Red, green, blue.
    pub colour: [u8; 3],
}

/// The photograph with lines on it: width, height, and red, green, blue and opacity of every
/// pixel.
pub fn drawn(photo: &Photo, lines: &[Line]) -> (usize, usize, Vec<u8>) {
    let factor = photo.shrinks_to(LONGEST_PX);
    let (width, height) = (photo.width() / factor, photo.height() / factor);
    let mut rgba = Vec::with_capacity(4 * width * height);
    for i in 0..width * height {
        let (x, y) = (i % width * factor, i / width * factor);
        for channel in photo.pixel(x, y) {
            let code = blend::Srgb::code(f64::from(channel).clamp(0.0, 1.0));
            rgba.push((255.0 * code).round() as u8);
        }
        rgba.push(255);
    }
    let mut dot = |x: i64, y: i64, colour: [u8; 3]| {
        let inside = (0..width as i64).contains(&x) && (0..height as i64).contains(&y);
        if !inside {
            return;
        }
        let first = 4 * (y as usize * width + x as usize);
        if let Some(pixel) = rgba.get_mut(first..first + 3) {
            pixel.copy_from_slice(&colour);
        }
    };
    for line in lines {
        let next = line.points.iter().cycle().skip(1);
        for (from, to) in line.points.iter().zip(next) {
            let scaled = |p: &Point| (p.0 / factor as f64, p.1 / factor as f64);
            let (a, b) = (scaled(from), scaled(to));
            let steps = (b.0 - a.0).hypot(b.1 - a.1).min(1e5).ceil().max(1.0);
            for i in 0..=steps as usize {
                let t = i as f64 / steps;
                let at = (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
                for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                    dot(at.0 as i64 + dx, at.1 as i64 + dy, line.colour);
                }
            }
        }
    }
    (width, height, rgba)
}
