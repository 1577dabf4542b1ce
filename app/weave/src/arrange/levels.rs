//! The heights that a purge block grows through.

use super::block::{CARRYING, Level};
use super::planned::{Doing, Facts};

/// A height to tell layers apart by.
pub(super) fn key(top_mm: f64) -> i64 {
    (top_mm / 1e-3).round() as i64
}

/// The heights that a block grows through, up to the last that needs it and no higher than
/// `end_mm`; `None` if the print comes down again.
pub(super) fn levels(facts: &[Facts], doing: &[Doing], end_mm: f64) -> Option<Vec<Level>> {
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
        } else if facts.top_mm < last_mm - 1e-3 {
            // A line to prime the nozzle may lie higher than the first layer.
            match found.as_mut_slice() {
                [prime] if prime.purge_mm3 <= 0.0 => {
                    prime.top_mm = facts.top_mm;
                    prime.purge_mm3 = purge_mm3;
                }
                _ => return None,
            }
        } else if let Some(last) = found.last_mut() {
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
    Some(found)
}
