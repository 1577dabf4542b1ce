//! How a sample rests on its back, and where that is on the card.

use super::shape::Face;
use crate::homography::Point;
use crate::view::Place;

/// How much wider than its length lets expect it may look.
const BREADTHS: (f64, f64) = (0.96, 1.1);

/// How a sample rests on its back: turned about x, so that foot and upper end touch the card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rest {
    /// Sine and cosine of the turn.
    turn: (f64, f64),
    /// How far the card is below the sample's zero, mm.
    below: f64,
    /// The greatest z when turned.
    pub(super) length: f64,
}

/// The middle of the foot's end and of the upper end on the card, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct At {
    pub(super) foot: (f64, f64),
    pub(super) top: (f64, f64),
    /// How much wider it looks than its length lets expect: blur and the rim of a shadow widen
    /// the long edges, and must not stretch the length with them.
    pub(super) breadth: f64,
}

impl Rest {
    pub(super) fn of(points: &[[f64; 3]]) -> Option<Self> {
        let length = points.iter().map(|p| p[2]).fold(0.0, f64::max);
        // The hull's edge at the back that is below the middle: what it rests on.
        let middle = length / 2.0;
        let mut best: Option<(f64, f64, f64)> = None;
        let (low, high): (Vec<[f64; 3]>, Vec<[f64; 3]>) =
            points.iter().partition(|p| p[2] <= middle);
        for a in &low {
            for b in &high {
                let slope = (b[1] - a[1]) / (b[2] - a[2]);
                let depth = a[1] + slope * (middle - a[2]);
                if depth.is_finite() && best.is_none_or(|(deepest, ..)| depth > deepest) {
                    best = Some((depth, slope, a[1] - slope * a[2]));
                }
            }
        }
        let (_, slope, offset) = best?;
        let turn = slope.atan().sin_cos();
        let rest = Self {
            turn,
            below: offset * turn.1,
            length: 0.0,
        };
        let along = points.iter().map(|p| rest.stand(*p)[1]);
        let (least, most) = along.fold((0.0_f64, 0.0_f64), |(a, b), v| (a.min(v), b.max(v)));
        (most - least > 1.0).then_some(Self {
            length: most,
            ..rest
        })
    }

    /// Across, along from the foot, and up from the card.
    pub(super) fn stand(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let (sin, cos) = self.turn;
        [x, z * cos + y * sin, self.below - (y * cos - z * sin)]
    }
}

impl At {
    /// Where a point of the sample is on the card.
    pub(super) fn place(&self, rest: &Rest, point: [f64; 3]) -> Place {
        let [across, along, up] = rest.stand(point);
        let whole = rest.length.max(1e-6);
        let axis = (
            (self.top.0 - self.foot.0) / whole,
            (self.top.1 - self.foot.1) / whole,
        );
        let across = across * self.breadth;
        // Upwards on the card is to smaller y; across is a quarter turn clockwise from it.
        [
            self.foot.0 + along * axis.0 - across * axis.1,
            self.foot.1 + along * axis.1 + across * axis.0,
            up * self.scale(rest),
        ]
    }

    /// How many mm of the card a mm of the sample is long.
    pub(super) fn scale(&self, rest: &Rest) -> f64 {
        (self.top.0 - self.foot.0).hypot(self.top.1 - self.foot.1) / rest.length.max(1e-6)
    }

    /// How far the corners of the face are at most from where they are seen, at their height, mm.
    pub(super) fn most_off_mm(&self, rest: &Rest, face: &Face, seen: &[Point; 4]) -> f64 {
        let off = |(corner, seen): ([f64; 3], &Point)| {
            let [x, y, _] = self.place(rest, corner);
            (x - seen.0).hypot(y - seen.1)
        };
        let corners = face.corners().into_iter().zip(seen);
        corners.map(off).fold(0.0, f64::max)
    }

    /// One of its numbers, or several together, changed.
    pub(super) fn moved(mut self, way: usize, by: f64) -> Self {
        match way {
            0 => self.foot.0 += by,
            1 => self.foot.1 += by,
            2 => self.top.0 += by,
            3 => self.top.1 += by,
            4 => (self.foot.0, self.top.0) = (self.foot.0 + by, self.top.0 + by),
            5 => (self.foot.1, self.top.1) = (self.foot.1 + by, self.top.1 + by),
            6 => (self.foot.0, self.top.0) = (self.foot.0 + by, self.top.0 - by),
            7 => (self.foot.1, self.top.1) = (self.foot.1 + by, self.top.1 - by),
            _ => self.breadth = within(self.breadth + 0.02 * by),
        }
        self
    }
}

/// A breadth that may be.
pub(super) fn within(breadth: f64) -> f64 {
    breadth.clamp(BREADTHS.0, BREADTHS.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_footed_bar_rests_on_its_foot_and_its_end() {
        let points = vec![
            [0.0, 0.0, 0.0],
            [0.0, 14.0, 0.0],
            [0.0, 14.0, 1.0],
            [0.0, 10.0, 5.0],
            [0.0, 10.0, 101.0],
            [0.0, 0.0, 101.0],
        ];
        let rest = Rest::of(&points).unwrap();
        let up = |point| rest.stand(point)[2];
        assert!(up([0.0, 14.0, 1.0]).abs() < 1e-9);
        assert!(up([0.0, 10.0, 101.0]).abs() < 1e-9);
        assert!(points.iter().all(|p| up(*p) > -1e-9));
        assert!((up([0.0, 0.0, 0.0]) - 14.0).abs() < 0.1);
        let at = At {
            foot: (90.0, 228.0),
            top: (90.0, 228.0 - rest.length),
            breadth: 1.0,
        };
        let placed = at.place(&rest, [5.0, 0.0, 50.0]);
        assert!(placed[0] > 94.9 && placed[1] < 182.0, "{placed:?}");
    }
}
