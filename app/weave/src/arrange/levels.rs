//! The heights that a purge block grows through.

use super::block::{CARRYING, Level};
use super::planned::{Doing, Facts};

/// A height to tell layers apart by.
pub(super) fn key(top_mm: f64) -> i64 {
    (top_mm / 1e-3).round() as i64
}

/// Tells which round of a print a section is of. A print that comes down again begins another:
/// copies are printed one after another.
#[derive(Debug, Default)]
pub(super) struct Rounds {
    pub(super) round: usize,
    heights: usize,
    top_mm: f64,
}

impl Rounds {
    /// The round of a section whose nozzle is at a height, given after all before it.
    pub(super) fn at(&mut self, top_mm: f64) -> usize {
        if top_mm > self.top_mm + 1e-3 {
            self.heights += 1;
            self.top_mm = top_mm;
        } else if top_mm < self.top_mm - 1e-3 {
            // A line to prime the nozzle may lie higher than the first layer.
            let prime = self.round == 0 && self.heights == 1;
            self.round += usize::from(!prime);
            self.heights = 1;
            self.top_mm = top_mm;
        }
        self.round
    }
}

/// The heights that a block grows through in one round, up to the last that needs it and no higher
/// than `end_mm`.
pub(super) fn levels(facts: &[Facts], doing: &[Doing], end_mm: f64) -> Vec<Level> {
    let mut found: Vec<Level> = Vec::new();
    for (facts, doing) in facts.iter().zip(doing) {
        if facts.top_mm <= 0.0 {
            continue;
        }
        let purge_mm3: f64 = doing.changes.iter().map(|c| c.purge_mm3).sum();
        let last_mm = found.last().map_or(0.0, |l| l.top_mm);
        if facts.top_mm > last_mm + 1e-3 {
            found.push(Level {
                top_mm: facts.top_mm,
                purge_mm3,
                ..Level::default()
            });
        } else if let Some(last) = found.last_mut() {
            // Lower is only the first layer after a line that primes.
            last.top_mm = last.top_mm.min(facts.top_mm);
            last.purge_mm3 += purge_mm3;
        }
    }
    while found
        .last()
        .is_some_and(|l| l.purge_mm3 <= 0.0 || l.top_mm > end_mm + 1e-3)
    {
        found.pop();
    }
    let takes: Vec<bool> = found.iter().map(|l| l.purge_mm3 > 0.0).collect();
    for (index, level) in found.iter_mut().enumerate() {
        let above = takes.iter().skip(index).take(CARRYING + 1);
        level.carries = above.into_iter().any(|takes| *takes);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rounds_of(tops: &[f64]) -> Vec<usize> {
        let mut rounds = Rounds::default();
        tops.iter().map(|top_mm| rounds.at(*top_mm)).collect()
    }

    #[test]
    fn a_print_that_comes_down_again_begins_another_round() {
        assert_eq!(rounds_of(&[0.2, 0.2, 0.4, 0.6]), [0, 0, 0, 0]);
        assert_eq!(rounds_of(&[0.3, 0.2, 0.4, 0.2, 0.4]), [0, 0, 0, 1, 1]);
        assert_eq!(rounds_of(&[0.4, 2.0, 1.6, 2.0]), [0, 0, 1, 1]);
        assert_eq!(
            rounds_of(&[0.2, 0.4, 0.2, 0.2, 0.4, 0.2]),
            [0, 0, 1, 1, 1, 2]
        );
    }
}
