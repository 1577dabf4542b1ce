//! Where plastic is laid on the plate, and what stands there while what is printed.

use toolpath::Move;

use super::plate::Squares;

/// What is no higher than this above the plate is beneath all of the tool head but the nozzle's tip
/// (our rule, no source): skirts, brims, lines that prime.
pub(crate) const LOW_MM: f64 = 1.0;

/// A rectangle's low and high corner, mm.
pub(super) type Bounds = ([f64; 2], [f64; 2]);

/// What is laid in one round.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Round {
    /// All of it,
    pub(super) all: Option<Bounds>,
    /// and what stands higher than all that is low.
    pub(super) high: Option<Bounds>,
    /// Its highest place, mm.
    pub(super) top_mm: f64,
}

/// The plate, and each round's part of it.
#[derive(Clone, Debug)]
pub(super) struct Plates {
    pub(super) all: Squares,
    pub(super) rounds: Vec<Round>,
}

impl Plates {
    pub(super) fn new(cell_mm: f64) -> Self {
        Self {
            all: Squares::new(cell_mm),
            rounds: Vec::new(),
        }
    }

    /// Notes a move that lays plastic in a round.
    pub(super) fn lay(&mut self, round: usize, step: &Move) {
        self.all.lay(step);
        if self.rounds.len() <= round {
            self.rounds.resize(round + 1, Round::default());
        }
        let Some(known) = self.rounds.get_mut(round) else {
            return;
        };
        let top_mm = step.from[2].max(step.to[2]);
        known.top_mm = known.top_mm.max(top_mm);
        // An arc stays within its chord's length about each of its ends.
        let wide_mm = match step.path {
            toolpath::Path::Straight => 0.0,
            toolpath::Path::Arc(_) => step.length_mm(),
        };
        for [x, y, _] in [step.from, step.to] {
            let place = ([x - wide_mm, y - wide_mm], [x + wide_mm, y + wide_mm]);
            known.all = Some(joined(known.all, place));
            if top_mm > LOW_MM {
                known.high = Some(joined(known.high, place));
            }
        }
    }
}

/// A rectangle grown by another.
pub(super) fn joined(known: Option<Bounds>, more: Bounds) -> Bounds {
    let Some((low, high)) = known else {
        return more;
    };
    (
        [low[0].min(more.0[0]), low[1].min(more.0[1])],
        [high[0].max(more.1[0]), high[1].max(more.1[1])],
    )
}

/// How far two rectangles are apart, mm; 0 where they touch.
pub(super) fn apart_mm(a: Bounds, b: Bounds) -> f64 {
    let gap = |axis: usize| {
        let of = |corner: [f64; 2]| corner.get(axis).copied().unwrap_or(0.0);
        (of(b.0) - of(a.1)).max(of(a.0) - of(b.1)).max(0.0)
    };
    gap(0).hypot(gap(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rectangles_are_as_far_apart_as_their_nearest_corners() {
        let a = ([0.0, 0.0], [10.0, 10.0]);
        assert_eq!(apart_mm(a, ([13.0, 14.0], [20.0, 20.0])), 5.0);
        assert_eq!(apart_mm(a, ([-8.0, 2.0], [-3.0, 30.0])), 3.0);
        assert_eq!(apart_mm(a, ([5.0, 5.0], [6.0, 6.0])), 0.0);
        assert_eq!(
            joined(Some(a), ([5.0, -2.0], [12.0, 3.0])),
            ([0.0, -2.0], [12.0, 10.0])
        );
    }
}
