//! How far every pixel is from a line, signed.

use glam::Vec2;

use super::contour::Segment;

/// No piece yet.
const NONE: u32 = u32::MAX;

/// Distances of pixels from the nearest piece, in pixels; above 0 where the level is. Nearest
/// pieces are handed from neighbour to neighbour, twice over the picture (Danielsson 1980), with
/// exact distances to them. Then no two neighbours in a row or column differ by more than 1.
pub(super) fn distances(
    levels: &[f32],
    width: usize,
    height: usize,
    segments: &[(Segment, usize)],
) -> Vec<f32> {
    let far = (width + height) as f32;
    let mut nearest = Nearest {
        width,
        height,
        segments,
        piece: vec![NONE; levels.len()],
        away: vec![far; levels.len()],
    };
    for (number, (_, cell)) in segments.iter().enumerate() {
        for corner in [*cell, cell + 1, cell + width, cell + width + 1] {
            nearest.offer(corner, number as u32);
        }
    }
    nearest.sweep_down();
    nearest.sweep_up();
    nearest.settle();
    let signed = |(away, level): (f32, &f32)| if *level > 0.0 { away } else { -away };
    nearest.away.into_iter().zip(levels).map(signed).collect()
}

struct Nearest<'a> {
    width: usize,
    height: usize,
    segments: &'a [(Segment, usize)],
    /// Which piece is nearest so far, and how far off.
    piece: Vec<u32>,
    away: Vec<f32>,
}

impl Nearest<'_> {
    /// A pixel may be nearer to this piece.
    fn offer(&mut self, pixel: usize, number: u32) {
        let Some((segment, _)) = self.segments.get(number as usize) else {
            return;
        };
        let at = Vec2::new((pixel % self.width) as f32, (pixel / self.width) as f32);
        let away = from_segment(at, *segment);
        if let (Some(best), Some(piece)) = (self.away.get_mut(pixel), self.piece.get_mut(pixel))
            && away < *best
        {
            (*best, *piece) = (away, number);
        }
    }

    fn take_from(&mut self, pixel: usize, neighbour: usize) {
        let (own, other) = (self.piece.get(pixel), self.piece.get(neighbour));
        if let (Some(own), Some(other)) = (own, other)
            && own != other
        {
            self.offer(pixel, *other);
        }
    }

    fn sweep_down(&mut self) {
        for y in 0..self.height {
            let row = y * self.width;
            for x in 0..self.width {
                if y > 0 {
                    self.take_from(row + x, row - self.width + x);
                    if x > 0 {
                        self.take_from(row + x, row - self.width + x - 1);
                    }
                    if x + 1 < self.width {
                        self.take_from(row + x, row - self.width + x + 1);
                    }
                }
                if x > 0 {
                    self.take_from(row + x, row + x - 1);
                }
            }
            for x in (0..self.width.saturating_sub(1)).rev() {
                self.take_from(row + x, row + x + 1);
            }
        }
    }

    fn sweep_up(&mut self) {
        for y in (0..self.height).rev() {
            let row = y * self.width;
            for x in 0..self.width {
                if y + 1 < self.height {
                    self.take_from(row + x, row + self.width + x);
                    if x > 0 {
                        self.take_from(row + x, row + self.width + x - 1);
                    }
                    if x + 1 < self.width {
                        self.take_from(row + x, row + self.width + x + 1);
                    }
                }
                if x > 0 {
                    self.take_from(row + x, row + x - 1);
                }
            }
            for x in (0..self.width.saturating_sub(1)).rev() {
                self.take_from(row + x, row + x + 1);
            }
        }
    }

    /// Where a nearest piece was missed, its neighbours say how far it can be at most.
    fn settle(&mut self) {
        let width = self.width;
        for i in 0..self.away.len() {
            let left = (i % width > 0).then(|| i - 1);
            self.no_farther(i, [left, i.checked_sub(width)]);
        }
        for i in (0..self.away.len()).rev() {
            let right = ((i + 1) % width > 0).then(|| i + 1);
            self.no_farther(i, [right, Some(i + width)]);
        }
    }

    fn no_farther(&mut self, pixel: usize, neighbours: [Option<usize>; 2]) {
        let reach = |at: usize| self.away.get(at).map(|away| away + 1.0);
        let least = neighbours.into_iter().flatten().filter_map(reach);
        let least = least.fold(f32::INFINITY, f32::min);
        if let Some(away) = self.away.get_mut(pixel) {
            *away = away.min(least);
        }
    }
}

fn from_segment(point: Vec2, [a, b]: Segment) -> f32 {
    let along = b - a;
    let whole = along.length_squared();
    let t = match whole > 0.0 {
        true => ((point - a).dot(along) / whole).clamp(0.0, 1.0),
        false => 0.0,
    };
    point.distance(a + along * t)
}
