//! The places at which commands may stand.

use blend::{MixModel, Shares, ciede2000};

use crate::Machine;
use crate::economy::Extrusion;

/// A change of more than this is a jump and gets places to be sharpened at, ΔE00.
const JUMP_DE00: f64 = 3.0;

/// A place, and the blend that is fed from there if nothing is sharpened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub at_mm3: f64,
    pub shares: Shares,
}

/// Places in rising order, no closer than the machine can change its blend; the first is at or
/// before the beginning.
///
/// Every change has its turn, where a shifted command would stand. Jumps have other places
/// about it as far as there is room between turns.
pub(super) fn of(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Vec<Place> {
    let (dead, mixed) = (machine.chamber.dead_mm3, machine.chamber.mixed_mm3);
    let mut turns: Vec<Place> = Vec::new();
    let mut wanted: Vec<Place> = Vec::new();
    for change in crate::delivery::changes(extrusion) {
        let gap = change.seen_mm3 - change.ends_mm3;
        let turn = change.seen_mm3 - dead - gap.max(mixed);
        turns.push(Place {
            at_mm3: turn,
            shares: change.to,
        });
        let jump = ciede2000(
            model.mix(&change.from).to_lab(),
            model.mix(&change.to).to_lab(),
        );
        if jump > JUMP_DE00 {
            let seen = change.seen_mm3 - dead;
            let mut add = |at_mm3: f64, shares: Shares| wanted.push(Place { at_mm3, shares });
            add(turn - 0.75 * mixed, change.from);
            for part in [0.5, 0.25] {
                add(seen - part * gap.max(mixed), change.to);
            }
            for past in [0.0, 0.5, 1.0] {
                add(seen + past * mixed, change.to);
            }
        }
    }
    let apart = machine.least_between_changes_mm3().max(1e-6);
    turns.sort_by(|a, b| a.at_mm3.total_cmp(&b.at_mm3));
    let mut places: Vec<Place> = Vec::with_capacity(turns.len() + wanted.len());
    for turn in turns {
        match places.last_mut() {
            Some(last) if turn.at_mm3 - last.at_mm3.max(0.0) < apart => last.shares = turn.shares,
            _ => places.push(turn),
        }
    }
    fill_in(places, wanted, apart)
}

/// Adds wanted places wherever they are far enough from their neighbours.
fn fill_in(turns: Vec<Place>, mut wanted: Vec<Place>, apart: f64) -> Vec<Place> {
    wanted.sort_by(|a, b| a.at_mm3.total_cmp(&b.at_mm3));
    let mut wanted = wanted.into_iter().peekable();
    let mut places: Vec<Place> = Vec::new();
    let mut ends = turns.iter().skip(1).map(|t| t.at_mm3);
    for turn in &turns {
        places.push(*turn);
        let end = ends.next().unwrap_or(f64::INFINITY);
        while let Some(place) = wanted.next_if(|w| w.at_mm3 < end) {
            let after = places.last().map_or(0.0, |p| p.at_mm3.max(0.0));
            if place.at_mm3 - after >= apart && end - place.at_mm3 >= apart {
                places.push(place);
            }
        }
    }
    places
}
