//! The places at which commands may stand.

use blend::{MixModel, Shares, ciede2000};

use super::led::Led;
use crate::Machine;
use crate::economy::What;

/// A change of more than this is a jump and gets places to be sharpened at, ΔE00.
const JUMP_DE00: f64 = 3.0;

/// A place, and the blend that is fed from there if nothing is sharpened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub at_mm3: f64,
    pub shares: Shares,
    /// Whether its blend may be sharpened: a change with a flush is right as it is.
    pub free: bool,
    /// Whether a command stands here if nothing is sharpened.
    pub sent: bool,
}

/// Places in rising order, no closer than the machine can change its blend; the first is at the
/// beginning.
///
/// Every command that is sent ahead has its place. Jumps without a flush have other places about
/// them as far as there is room between those.
pub(super) fn of(led: &Led, machine: &Machine, model: &dyn MixModel) -> Vec<Place> {
    let (dead, mixed) = (machine.chamber.dead_mm3, machine.chamber.mixed_mm3);
    let mut wanted: Vec<Place> = Vec::new();
    for change in &led.open {
        let jump = ciede2000(
            model.mix(&change.from).to_lab(),
            model.mix(&change.to).to_lab(),
        );
        if jump <= JUMP_DE00 {
            continue;
        }
        let gap = (change.seen_mm3 - change.ends_mm3).max(mixed);
        let seen = change.seen_mm3 - dead;
        let mut add = |at_mm3: f64, shares: Shares| {
            wanted.push(Place {
                at_mm3,
                shares,
                free: true,
                sent: false,
            });
        };
        add(seen - gap - 0.75 * mixed, change.from);
        for part in [0.5, 0.25] {
            add(seen - part * gap, change.to);
        }
        for past in [0.0, 0.5, 1.0] {
            add(seen + past * mixed, change.to);
        }
    }
    let sent = led.sent();
    let next_is_open = |i: usize| sent.get(i + 1).is_some_and(|s| s.what == What::Open);
    let turns: Vec<(Place, bool)> = sent
        .iter()
        .enumerate()
        .map(|(i, sent)| {
            let place = Place {
                at_mm3: sent.command.at_mm3,
                shares: sent.command.shares,
                free: match sent.what {
                    What::Open => true,
                    What::Start => next_is_open(i),
                    What::Flushed | What::Eased => false,
                },
                sent: true,
            };
            // Nothing may come between a flush and where it eases.
            let closed = sent.what == What::Flushed && !next_is_open(i);
            (place, closed)
        })
        .collect();
    fill_in(&turns, wanted, machine.least_between_changes_mm3())
}

/// Adds wanted places wherever they are far enough from their neighbours.
fn fill_in(turns: &[(Place, bool)], mut wanted: Vec<Place>, apart: f64) -> Vec<Place> {
    wanted.sort_by(|a, b| a.at_mm3.total_cmp(&b.at_mm3));
    let mut wanted = wanted.into_iter().peekable();
    let mut places: Vec<Place> = Vec::new();
    let mut ends = turns.iter().skip(1).map(|(t, _)| t.at_mm3);
    for (turn, closed) in turns {
        places.push(*turn);
        let end = ends.next().unwrap_or(f64::INFINITY);
        while let Some(place) = wanted.next_if(|w| w.at_mm3 < end) {
            let after = places.last().map_or(0.0, |p| p.at_mm3);
            if !closed && place.at_mm3 - after >= apart && end - place.at_mm3 >= apart {
                places.push(place);
            }
        }
    }
    places
}
