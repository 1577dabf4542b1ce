//! Where a sample of known shape lies on the card.
//!
//! Seen from the camera, the sample hides a part of the card's lane. What it should hide is
//! worked out from its shape for each place that it may have; what it does hide is told by the
//! lane itself, whose left half is ink and whose right half is paper. The best place is the one
//! where both agree most.

use crate::card;
use crate::lane::{self, COLUMNS, Lane, ROWS};
use crate::patch::Pixel;
use crate::scene::Scene;
use crate::view::Place;

/// How far from the lane's middle line and from the foot line it may lie, mm.
const ASIDE_MM: f64 = 9.0;
const ALONG_MM: f64 = 10.0;
/// How much larger than on the card's own scale it may be: cards are printed too small or large.
const SCALES: (f64, f64) = (0.96, 1.08);
/// How much wider than its length lets expect it may look.
const BREADTHS: (f64, f64) = (0.96, 1.1);
/// So much of the lane outside of it may look covered, as a share of what it covers.
const MOST_OUTSIDE: f64 = 0.04;
/// So many of its rows must look covered on one side at least.
const LEAST_COVERED: f64 = 0.96;
/// By how much the right way round must beat the other, mm².
const WAY_ROUND_MM2: f64 = 8.0;

/// A sample's shape, in its own millimetres: x across the face, y into it, z from the foot.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Its corners.
    pub points: Vec<[f64; 3]>,
    /// Its edges, by their corners.
    pub edges: Vec<[usize; 2]>,
}

/// A sample on the card.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    rest: Rest,
    at: At,
    /// How many mm of the card a mm of the sample is long: 1 if the card is printed at its size.
    pub scale: f64,
    /// The sample's outline on the card as the camera sees it, mm: rows from the top with the
    /// left and the right end.
    pub outline: Vec<(f64, (f64, f64))>,
}

/// How a sample rests on its back: turned about x, so that foot and upper end touch the card.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Rest {
    /// Sine and cosine of the turn.
    turn: (f64, f64),
    /// How far the card is below the sample's zero, mm.
    below: f64,
    /// The greatest z when turned.
    length: f64,
}

/// The middle of the foot's end and of the upper end on the card, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
struct At {
    foot: (f64, f64),
    top: (f64, f64),
    /// How much wider it looks than its length lets expect: blur and the rim of a shadow widen
    /// the long edges, and must not stretch the length with them.
    breadth: f64,
}

impl Rest {
    fn of(points: &[[f64; 3]]) -> Option<Self> {
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
    fn stand(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let (sin, cos) = self.turn;
        [x, z * cos + y * sin, self.below - (y * cos - z * sin)]
    }
}

impl At {
    fn place(&self, rest: &Rest, point: [f64; 3]) -> Place {
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

    fn scale(&self, rest: &Rest) -> f64 {
        (self.top.0 - self.foot.0).hypot(self.top.1 - self.foot.1) / rest.length.max(1e-6)
    }
}

impl Laid {
    /// Finds a sample on the lane.
    ///
    /// # Errors
    /// Nothing lies there, or something else: what is wrong and what to do.
    pub fn find(scene: &Scene<'_>, shape: &Shape) -> Result<Self, String> {
        let rest = Rest::of(&shape.points).ok_or("the sample has no length")?;
        let longest = card::FOOT_LINE_MM - card::LANE.y.0 - ALONG_MM;
        if rest.length > longest {
            return Err(format!(
                "the sample is {:.0} mm long, and the card has room for {longest:.0} mm; make \
                 several shorter ones",
                rest.length
            ));
        }
        let lane = Lane::of(scene);
        let fit = Fit {
            scene,
            shape,
            rest,
            lane: &lane,
        };
        let (at, score) = fit.best().ok_or_else(nothing)?;
        fit.check(at)?;
        // Turned end for end it must fit worse, or nobody knows which way it lies.
        let mut turned = shape.clone();
        let top = shape.points.iter().map(|p| p[2]).fold(0.0, f64::max);
        for point in &mut turned.points {
            *point = [-point[0], point[1], top - point[2]];
        }
        if let Some(rest) = Rest::of(&turned.points) {
            let other = Fit {
                shape: &turned,
                rest,
                ..fit
            };
            let (_, other) = other.best().unwrap_or((at, f64::MIN));
            if other > score - WAY_ROUND_MM2 {
                return Err(
                    "the sample's foot can't be told from its upper end; lay the foot on the line \
                     at the lower end of the lane"
                        .to_owned(),
                );
            }
        }
        Ok(Self {
            rest,
            at,
            scale: at.scale(&rest),
            outline: fit.outline(at),
        })
    }

    /// Where a point of the sample is on the card.
    pub fn place(&self, point: [f64; 3]) -> Place {
        self.at.place(&self.rest, point)
    }

    /// The pixels of a rectangle of the sample's face: across from the middle, and up from the
    /// foot, mm; the face lies at a depth.
    pub fn pixels(
        &self,
        scene: &Scene<'_>,
        (across, up): ((f64, f64), (f64, f64)),
        depth_mm: f64,
    ) -> Vec<Pixel> {
        let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
        let [x, y, _] = self.place([middle(across), depth_mm, middle(up)]);
        let px_per_mm = scene.view.px_per_mm((x, y)).unwrap_or(1.0).max(0.5);
        let count = |(from, to): (f64, f64)| ((to - from) * px_per_mm).ceil().max(1.0) as usize;
        let (columns, rows) = (count(across), count(up));
        let between = |(from, to): (f64, f64), i: usize, count: usize| {
            from + (to - from) * (i as f64 + 0.5) / count as f64
        };
        let mut found = Vec::with_capacity(columns * rows);
        for row in 0..rows {
            for column in 0..columns {
                let point = [
                    between(across, column, columns),
                    depth_mm,
                    between(up, row, rows),
                ];
                let seen = scene.view.project(self.place(point));
                found.extend(seen.and_then(|at| scene.photo.pixel_at(at)));
            }
        }
        found
    }
}

fn nothing() -> String {
    "no sample is found on the card's lane; lay it there with its foot on the line and its \
     middle between black and white"
        .to_owned()
}

/// Looks for the best place.
#[derive(Clone, Copy)]
struct Fit<'a> {
    scene: &'a Scene<'a>,
    shape: &'a Shape,
    rest: Rest,
    lane: &'a Lane,
}

impl Fit<'_> {
    /// The best place and its worth, mm².
    fn best(&self) -> Option<(At, f64)> {
        let middle = card::LANE_MIDDLE_MM;
        let steps = |from: f64, to: f64, count: usize| {
            (0..=count).map(move |i| from + (to - from) * i as f64 / count as f64)
        };
        let mut best: Option<(At, f64)> = None;
        for foot_x in steps(middle - ASIDE_MM, middle + ASIDE_MM, 6) {
            for top_x in steps(middle - ASIDE_MM, middle + ASIDE_MM, 6) {
                for foot_y in steps(
                    card::FOOT_LINE_MM - ALONG_MM,
                    card::FOOT_LINE_MM + ALONG_MM,
                    10,
                ) {
                    for scale in steps(SCALES.0, SCALES.1, 12) {
                        let at = At {
                            foot: (foot_x, foot_y),
                            top: (top_x, foot_y - scale * self.rest.length),
                            breadth: 1.0,
                        };
                        let worth = self.worth(at);
                        if best.is_none_or(|(_, most)| worth > most) {
                            best = Some((at, worth));
                        }
                    }
                }
            }
        }
        let (mut at, mut worth) = best?;
        let mut step = 2.0;
        while step > 0.03 {
            let mut moved = false;
            for (i, by) in (0..9).flat_map(|i| [(i, step), (i, -step)]) {
                let next = at.moved(i, by);
                let there = self.worth(next);
                if there > worth + 1e-9 {
                    (at, worth, moved) = (next, there, true);
                }
            }
            if !moved {
                step /= 2.0;
            }
        }
        (worth > 0.0).then_some((at, worth))
    }

    fn worth(&self, at: At) -> f64 {
        let spans = self.spans(at);
        let rows = spans.iter().enumerate();
        rows.filter_map(|(row, span)| span.map(|span| self.lane.worth(row, span)))
            .sum()
    }

    /// What it hides of each row of the lane: a sample without hollows hides one stretch.
    fn spans(&self, at: At) -> Vec<Option<(f64, f64)>> {
        let mut spans: Vec<Option<(f64, f64)>> = vec![None; ROWS];
        let shadow = |point: &[f64; 3]| self.scene.view.on_card(at.place(&self.rest, *point));
        let points: Vec<_> = self.shape.points.iter().map(shadow).collect();
        for [a, b] in &self.shape.edges {
            let (Some(Some(a)), Some(Some(b))) = (points.get(*a), points.get(*b)) else {
                continue;
            };
            let (a, b) = if a.1 <= b.1 { (a, b) } else { (b, a) };
            for row in lane::row_from(a.1)..lane::row_from(b.1) {
                let y = lane::y_mm(row);
                let x = a.0 + (b.0 - a.0) * (y - a.1) / (b.1 - a.1);
                if let Some(span) = spans.get_mut(row) {
                    let (from, to) = span.unwrap_or((x, x));
                    *span = Some((from.min(x), to.max(x)));
                }
            }
        }
        spans
    }

    fn outline(&self, at: At) -> Vec<(f64, (f64, f64))> {
        let spans = self.spans(at).into_iter().enumerate();
        spans
            .filter_map(|(row, span)| Some((lane::y_mm(row), span?)))
            .collect()
    }

    /// Whether what is seen agrees with the place.
    fn check(&self, at: At) -> Result<(), String> {
        let scale = at.scale(&self.rest);
        if !(SCALES.0..=SCALES.1).contains(&scale) {
            return Err(nothing());
        }
        let spans = self.spans(at);
        let (mut rows, mut covered, mut outside, mut inside) = (0.0, 0.0, 0.0, 0.0);
        for (row, span) in spans.iter().enumerate() {
            let (from, to) = span.unwrap_or((0.0, 0.0));
            let (mut left, mut right) = ((0.0, 0.0), (0.0, 0.0));
            for column in 0..COLUMNS {
                let x = lane::x_mm(column);
                let there = self.lane.covered(row, column);
                // Edges are blurred, and a shadow has a dark rim.
                if x < from - 1.5 || x > to + 1.5 {
                    outside += f64::from(there > 0.9);
                } else if x > from + 1.5 && x < to - 1.5 {
                    inside += 1.0;
                    let side = if x < card::LANE_MIDDLE_MM {
                        &mut left
                    } else {
                        &mut right
                    };
                    *side = (side.0 + there, side.1 + 1.0);
                }
            }
            if left.1 + right.1 > 0.0 {
                rows += 1.0;
                let share = |side: (f64, f64)| side.0 / f64::max(side.1, 1.0);
                covered += f64::from(share(left) > 0.5 || share(right) > 0.5);
            }
        }
        if covered < LEAST_COVERED * rows {
            return Err(format!(
                "the lane is covered along {:.0} % of the sample's length only; is it the sample \
                 of this plan, and does it lie with its foot on the line?",
                100.0 * covered / f64::max(rows, 1.0)
            ));
        }
        if outside > MOST_OUTSIDE * inside {
            return Err(
                "something else lies on the lane, or the sample is longer or wider than its plan \
                 has it; clear the lane, and check the plan"
                    .to_owned(),
            );
        }
        Ok(())
    }
}

impl At {
    /// One of its numbers, or several together, changed.
    fn moved(mut self, way: usize, by: f64) -> Self {
        match way {
            0 => self.foot.0 += by,
            1 => self.foot.1 += by,
            2 => self.top.0 += by,
            3 => self.top.1 += by,
            4 => (self.foot.0, self.top.0) = (self.foot.0 + by, self.top.0 + by),
            5 => (self.foot.1, self.top.1) = (self.foot.1 + by, self.top.1 + by),
            6 => (self.foot.0, self.top.0) = (self.foot.0 + by, self.top.0 - by),
            7 => (self.foot.1, self.top.1) = (self.foot.1 + by, self.top.1 - by),
            _ => self.breadth = (self.breadth + 0.02 * by).clamp(BREADTHS.0, BREADTHS.1),
        }
        self
    }
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
