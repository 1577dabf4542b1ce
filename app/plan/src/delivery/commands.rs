//! What the drives are told, by extruded volume.

use blend::Shares;
use serde::{Deserialize, Serialize};

use super::Feed;
use crate::Machine;
use crate::economy::{Extrusion, Purpose};

/// A change of blend that is sent to the machine.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Command {
    /// When: after this much plastic has been laid, mm³, waste included.
    pub at_mm3: f64,
    /// The blend from then on.
    pub shares: Shares,
}

/// All changes of blend of a part, the first at 0. The chamber is taken to be full of the first
/// blend when the print begins.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Commands(pub Vec<Command>);

impl Commands {
    /// Each change where its dose begins, or where the flush for it begins: what is sent when
    /// nobody thinks of the chamber.
    pub fn plain(extrusion: &Extrusion, machine: &Machine) -> Self {
        Self::tidy(
            changes(extrusion)
                .into_iter()
                .map(|change| Command {
                    at_mm3: change.begins_mm3,
                    shares: machine.fed(&change.to),
                })
                .collect(),
            machine,
        )
    }

    /// Commands in rising order, without those that change nothing and those that come too soon
    /// after another for the machine; of such the later one stays, at the earlier's place.
    pub fn tidy(mut commands: Vec<Command>, machine: &Machine) -> Self {
        commands.sort_by(|a, b| a.at_mm3.total_cmp(&b.at_mm3));
        let apart = machine.least_between_changes_mm3();
        let mut kept: Vec<Command> = Vec::with_capacity(commands.len());
        for command in commands {
            let at_mm3 = command.at_mm3.max(0.0);
            match kept.last_mut() {
                Some(last) if last.shares == command.shares => {}
                // A hair's breadth is rounding.
                Some(last) if at_mm3 - last.at_mm3 < apart - 1e-9 => last.shares = command.shares,
                _ => kept.push(Command { at_mm3, ..command }),
            }
        }
        if let Some(first) = kept.first_mut() {
            first.at_mm3 = 0.0;
        }
        kept.dedup_by(|later, earlier| later.shares == earlier.shares);
        Self(kept)
    }

    /// How often the blend changes after the first.
    pub fn changes(&self) -> usize {
        self.0.len().saturating_sub(1)
    }

    /// As feeds for [`delivered`](super::delivered).
    pub fn feeds(&self) -> Vec<Feed> {
        self.0
            .iter()
            .map(|c| Feed::steady(c.at_mm3, c.shares))
            .collect()
    }

    /// What each of `count` drives has fed by an extruded volume, mm³.
    pub(crate) fn fed_mm3(&self, laid_mm3: f64, count: usize) -> Vec<f64> {
        let mut fed = vec![0.0; count];
        for (i, command) in self.0.iter().enumerate() {
            let next = self.0.get(i + 1).map_or(f64::INFINITY, |c| c.at_mm3);
            let volume = next.min(laid_mm3) - command.at_mm3;
            if volume <= 0.0 {
                break;
            }
            for (sum, share) in fed.iter_mut().zip(command.shares.as_slice()) {
                *sum += volume * share;
            }
        }
        fed
    }

    /// The first blend: what the chamber is full of when the print begins.
    pub fn start(&self) -> Option<Shares> {
        self.0.first().map(|c| c.shares)
    }
}

/// A change of what is aimed at.
#[derive(Clone, Copy)]
pub(crate) struct Change {
    /// Where the last plastic that is seen in the old blend ends.
    pub ends_mm3: f64,
    /// Where a plain command would stand: at the beginning of the flush for it, if there is one
    /// in the layer, else where the layer begins.
    pub begins_mm3: f64,
    /// Where the first plastic is laid that is seen in the new blend.
    pub seen_mm3: f64,
    /// The blend before; the same as `to` for the first.
    pub from: Shares,
    /// The blend from then on.
    pub to: Shares,
}

/// All changes of what is aimed at, the first blend among them.
pub(crate) fn changes(extrusion: &Extrusion) -> Vec<Change> {
    let mut found: Vec<Change> = Vec::new();
    let mut at = 0.0;
    // Where the last skin ended, in which layer and blend.
    let mut last: Option<(f64, usize, Shares)> = None;
    let (mut layer_begins, mut in_layer) = (0.0, None);
    for stretch in &extrusion.stretches {
        if in_layer != Some(stretch.layer) {
            (layer_begins, in_layer) = (at, Some(stretch.layer));
        }
        if let Purpose::Skin { aim, .. } = &stretch.purpose {
            match last {
                None => found.push(Change {
                    ends_mm3: 0.0,
                    begins_mm3: 0.0,
                    seen_mm3: 0.0,
                    from: *aim,
                    to: *aim,
                }),
                Some((ends_mm3, layer, from)) if from != *aim => found.push(Change {
                    ends_mm3,
                    begins_mm3: match layer == stretch.layer {
                        true => ends_mm3,
                        false => layer_begins,
                    },
                    seen_mm3: at,
                    from,
                    to: *aim,
                }),
                Some(_) => {}
            }
            last = Some((at + stretch.volume_mm3, stretch.layer, *aim));
        }
        at += stretch.volume_mm3;
    }
    found
}
