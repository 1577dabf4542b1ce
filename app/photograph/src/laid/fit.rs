//! Looks for the place of a sample where what it should hide agrees best with what is hidden.

use super::rest::{At, Rest};
use super::shape::Shape;
use crate::card;
use crate::lane::{self, COLUMNS, Lane, ROWS};
use crate::scene::Scene;

/// How far from the lane's middle line and from the foot line it may lie, mm.
const ASIDE_MM: f64 = 9.0;
const ALONG_MM: f64 = 10.0;
/// How much larger than on the card's own scale it may be: cards are printed too small or large.
const SCALES: (f64, f64) = (0.96, 1.08);
/// So much of the lane outside of it may look covered, as a share of what it covers.
const MOST_OUTSIDE: f64 = 0.04;
/// Edges are blurred, and a shadow has a dark rim: nothing is said so near to an edge, mm.
const RIM_MM: f64 = 1.5;
/// How far from a person's frame each end is looked for, mm.
const NEAR_MM: f64 = 4.0;

/// What must agree.
#[derive(Clone, Copy, Debug)]
pub(super) struct Agrees {
    /// So many of the rows must look covered on one side at least.
    covered: f64,
    /// So many of those within [`END_MM`] of an end.
    at_ends: f64,
    /// How far beside and beyond the sample nothing else may lie, mm.
    clear_mm: (f64, f64),
    /// So much outside of it may look covered, mm².
    outside_mm2: f64,
}

/// What is near an end, mm.
const END_MM: f64 = 6.0;

impl Agrees {
    /// Where nobody says where the sample lies.
    pub(super) const BY_ITSELF: Self = Self {
        covered: 0.96,
        at_ends: 0.0,
        clear_mm: (f64::INFINITY, f64::INFINITY),
        outside_mm2: f64::INFINITY,
    };
    /// Where a person says so: then other things may lie on the lane, and a part of the sample
    /// may look like what it lies on, but not its ends. A bar of one step more is seen by what
    /// lies beyond the end.
    pub(super) const FRAMED: Self = Self {
        covered: 0.75,
        at_ends: 0.8,
        clear_mm: (6.0, 12.0),
        outside_mm2: 110.0,
    };
}

/// Looks for the best place.
#[derive(Clone, Copy)]
pub(super) struct Fit<'a> {
    pub(super) scene: &'a Scene<'a>,
    pub(super) shape: &'a Shape,
    pub(super) rest: Rest,
    pub(super) lane: &'a Lane,
}

/// What was counted at a place.
#[derive(Default)]
struct Counts {
    /// Whether a row looks covered, from the top.
    rows: Vec<bool>,
    outside: f64,
    inside: f64,
}

pub(super) fn nothing() -> String {
    "no sample is found on the card's lane; lay it there with its foot on the line and its \
     middle between black and white"
        .to_owned()
}

impl<'a> Fit<'a> {
    /// For a sample that the card has room for.
    ///
    /// # Errors
    /// It has not: what to do.
    pub(super) fn new(
        scene: &'a Scene<'a>,
        shape: &'a Shape,
        lane: &'a Lane,
    ) -> Result<Self, String> {
        Ok(Self {
            scene,
            shape,
            rest: resting(shape)?,
            lane,
        })
    }

    /// The same for another shape.
    pub(super) fn of(&self, shape: &'a Shape) -> Option<Self> {
        let rest = Rest::of(&shape.points)?;
        Some(Self {
            shape,
            rest,
            ..*self
        })
    }

    /// How much of what it hides and another does not is seen to be covered, as a share.
    pub(super) fn alone(&self, at: At, other: &Self, there: At) -> f64 {
        let (mut covered, mut cells) = (0.0, 0.0_f64);
        let both = self.spans(at).into_iter().zip(other.spans(there));
        for (row, (span, beside)) in both.enumerate() {
            let Some((from, to)) = span else { continue };
            let (low, high) = beside.unwrap_or((to, to));
            for column in 0..COLUMNS {
                let x = lane::x_mm(column);
                if (from..to).contains(&x) && !(low..high).contains(&x) {
                    cells += 1.0;
                    covered += f64::from(self.lane.covered(row, column) > 0.9);
                }
            }
        }
        covered / cells.max(1.0)
    }

    /// The best place and its worth, mm².
    pub(super) fn best(&self) -> Option<(At, f64)> {
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
        self.climbed(best?)
    }

    /// The best place near one, and its worth, mm².
    pub(super) fn best_near(&self, near: At) -> Option<(At, f64)> {
        const STEPS: usize = 5;
        let by = |i: usize| NEAR_MM * (2.0 * i as f64 / (STEPS - 1) as f64 - 1.0);
        let mut best = (near, self.worth(near));
        for i in 0..STEPS.pow(4) {
            let [a, b, c, d] = [0, 1, 2, 3].map(|way| by(i / STEPS.pow(way) % STEPS));
            let at = At {
                foot: (near.foot.0 + a, near.foot.1 + b),
                top: (near.top.0 + c, near.top.1 + d),
                ..near
            };
            let worth = self.worth(at);
            if worth > best.1 {
                best = (at, worth);
            }
        }
        self.climbed(best)
    }

    /// The best place that is reached by small steps.
    fn climbed(&self, (mut at, mut worth): (At, f64)) -> Option<(At, f64)> {
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

    pub(super) fn outline(&self, at: At) -> Vec<(f64, (f64, f64))> {
        let spans = self.spans(at).into_iter().enumerate();
        spans
            .filter_map(|(row, span)| Some((lane::y_mm(row), span?)))
            .collect()
    }

    /// How far its face reaches out of what is looked at of the lane, mm.
    pub(super) fn face_beyond_mm(&self, at: At) -> f64 {
        let corners = self.shape.face.corners();
        let shadow = |corner| self.scene.view.on_card(at.place(&self.rest, corner));
        let each =
            corners.map(|corner| shadow(corner).map_or(f64::MAX, |(x, y)| lane::beyond_mm(x, y)));
        each.into_iter().fold(0.0, f64::max)
    }

    /// Whether what is seen agrees with the place.
    pub(super) fn check(&self, at: At, asked: &Agrees) -> Result<(), String> {
        let scale = at.scale(&self.rest);
        if !(SCALES.0..=SCALES.1).contains(&scale) {
            return Err(nothing());
        }
        let counts = self.counts(at, asked.clear_mm);
        let share = |rows: &[bool]| {
            let covered = rows.iter().filter(|row| **row).count();
            covered as f64 / rows.len().max(1) as f64
        };
        let rows = counts.rows.as_slice();
        let all = share(rows);
        if all < asked.covered {
            return Err(format!(
                "the lane is covered along {:.0} % of the sample's length only; is it the sample \
                 of this plan, and does it lie with its foot on the line?",
                100.0 * all
            ));
        }
        let near = ((END_MM / lane::CELL_MM) as usize).min(rows.len());
        let (above, below) = (
            rows.get(..near).unwrap_or_default(),
            rows.get(rows.len() - near..).unwrap_or_default(),
        );
        let names = match at.foot.1 > at.top.1 {
            true => ["upper end", "foot"],
            false => ["foot", "upper end"],
        };
        for (rows, end) in [above, below].into_iter().zip(names) {
            if share(rows) < asked.at_ends {
                return Err(format!(
                    "nothing is seen to lie at the frame's {end}; put its corners on those of the \
                     face, and check the plan"
                ));
            }
        }
        let cell_mm2 = lane::CELL_MM * lane::CELL_MM;
        if counts.outside > MOST_OUTSIDE * counts.inside
            || counts.outside * cell_mm2 > asked.outside_mm2
        {
            return Err(
                "something else lies on the lane, or the sample is longer or wider than its plan \
                 has it; clear the lane, and check the plan"
                    .to_owned(),
            );
        }
        Ok(())
    }

    fn counts(&self, at: At, (beside_mm, beyond_mm): (f64, f64)) -> Counts {
        let spans = self.spans(at);
        let mut counts = Counts::default();
        let covers = spans.iter().position(Option::is_some);
        let (first, last) = covers
            .zip(spans.iter().rposition(Option::is_some))
            .unwrap_or_default();
        for (row, span) in spans.iter().enumerate() {
            let off_rows = first.saturating_sub(row).max(row.saturating_sub(last));
            if off_rows as f64 * lane::CELL_MM > beyond_mm {
                continue;
            }
            // Beyond an end as wide as the end.
            let end = spans.get(row.clamp(first, last)).copied().flatten();
            let (from, to) = span.unwrap_or((0.0, 0.0));
            let (low, high) = end.unwrap_or((0.0, 0.0));
            let (mut left, mut right) = ((0.0, 0.0), (0.0, 0.0));
            for column in 0..COLUMNS {
                let x = lane::x_mm(column);
                let there = self.lane.covered(row, column);
                if x < from - RIM_MM || x > to + RIM_MM {
                    let near = x > low - beside_mm && x < high + beside_mm;
                    counts.outside += f64::from(near && there > 0.9);
                } else if x > from + RIM_MM && x < to - RIM_MM {
                    counts.inside += 1.0;
                    let side = if x < card::LANE_MIDDLE_MM {
                        &mut left
                    } else {
                        &mut right
                    };
                    *side = (side.0 + there, side.1 + 1.0);
                }
            }
            if left.1 + right.1 > 0.0 {
                let share = |side: (f64, f64)| side.0 / f64::max(side.1, 1.0);
                counts.rows.push(share(left) > 0.5 || share(right) > 0.5);
            }
        }
        counts
    }
}

/// How a sample rests, if the card has room for it.
fn resting(shape: &Shape) -> Result<Rest, String> {
    let rest = Rest::of(&shape.points).ok_or("the sample has no length")?;
    let longest = card::FOOT_LINE_MM - card::LANE.y.0 - ALONG_MM;
    match rest.length > longest {
        true => Err(format!(
            "the sample is {:.0} mm long, and the card has room for {longest:.0} mm; make \
             several shorter ones",
            rest.length
        )),
        false => Ok(rest),
    }
}
