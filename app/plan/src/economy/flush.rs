//! How much has to be flushed between two blends.

use std::collections::HashMap;

use blend::{MixModel, Shares, ciede2000};

use crate::Machine;

/// Volumes to be flushed, worked out once for each pair of blends.
pub(super) struct FlushTable<'a> {
    machine: &'a Machine,
    model: &'a dyn MixModel,
    lead: bool,
    known: HashMap<(Key, Key), f64>,
}

type Key = Vec<u64>;

fn key(shares: &Shares) -> Key {
    shares.as_slice().iter().map(|s| s.to_bits()).collect()
}

impl<'a> FlushTable<'a> {
    pub(super) fn new(machine: &'a Machine, model: &'a dyn MixModel, lead: bool) -> Self {
        Self {
            machine,
            model,
            lead,
            known: HashMap::new(),
        }
    }

    /// Volume to lay after the last of one blend, before the next may be seen, mm³.
    ///
    /// A change that is sent ahead of its place costs no dead volume, for that is still filled
    /// with the old blend when the change begins. And it may feed beyond the blend that is
    /// aimed at until the chamber has it, which a single tank reaches in finite volume.
    pub(super) fn volume_mm3(&mut self, from: &Shares, to: &Shares) -> f64 {
        if from == to {
            return 0.0;
        }
        let pair = (key(from), key(to));
        if let Some(known) = self.known.get(&pair) {
            return *known;
        }
        let rest = rest_allowed(self.model, from, to, self.machine.flush.allowed_de00);
        let chamber = &self.machine.chamber;
        let volume = match self.lead {
            true if chamber.tanks <= 1 => {
                let reach = reach_beyond(self.machine, from, to);
                -chamber.mixed_mm3 * (1.0 - (1.0 - rest) * reach).max(1e-12).ln()
            }
            true => (chamber.flushed_mm3(rest) - chamber.dead_mm3).max(0.0),
            false => chamber.flushed_mm3(rest),
        };
        self.known.insert(pair, volume);
        volume
    }
}

/// The greatest part of an old blend in a new one that makes a difference of no more than
/// `allowed_de00`, never 0.
fn rest_allowed(model: &dyn MixModel, from: &Shares, to: &Shares, allowed_de00: f64) -> f64 {
    let wanted = model.mix(to).to_lab();
    let off = |rest: f64| ciede2000(model.mix(&to.toward(from, rest)).to_lab(), wanted);
    if off(1.0) <= allowed_de00 {
        return 1.0;
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        match off(middle) <= allowed_de00 {
            true => low = middle,
            false => high = middle,
        }
    }
    low.max(1e-6)
}

/// How far the new blend lies on the straight way from the old one to the end of what can be
/// fed beyond it, in `0..=1`.
fn reach_beyond(machine: &Machine, from: &Shares, to: &Shares) -> f64 {
    let least = match machine.keep_all_moving {
        true => machine.least_in_steps(),
        false => 0.0,
    };
    let pairs = from.as_slice().iter().zip(to.as_slice());
    let farthest = pairs
        .filter(|(f, t)| t < f)
        .map(|(f, t)| (f - least) / (f - t))
        .fold(f64::INFINITY, f64::min);
    match farthest.is_finite() {
        true => (1.0 / farthest).clamp(0.0, 1.0),
        false => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::{LinearLight, Spool, SpoolColour, Srgb};

    fn model() -> LinearLight {
        let spool = |code| Spool::new("x", SpoolColour::Hex(Srgb(code)));
        LinearLight::new(&[spool([200, 30, 30]), spool([245, 245, 240])])
    }

    fn shares(first: f64) -> Shares {
        Shares::new(&[first, 1.0 - first]).expect("shares")
    }

    #[test]
    fn flushing_leaves_what_is_allowed_and_no_more() {
        let machine = Machine::default();
        let model = model();
        let (red, white) = (shares(1.0), shares(0.0));
        let volume = FlushTable::new(&machine, &model, false).volume_mm3(&red, &white);
        let rest = 1.0 - machine.chamber.step_response(volume);
        let off = |rest: f64| {
            ciede2000(
                model.mix(&white.toward(&red, rest)).to_lab(),
                model.mix(&white).to_lab(),
            )
        };
        assert!((off(rest) - machine.flush.allowed_de00).abs() < 1e-3);
    }

    #[test]
    fn a_blend_in_the_middle_is_reached_sooner_by_feeding_beyond_it() {
        let machine = Machine::default();
        let model = model();
        let mut table = FlushTable::new(&machine, &model, true);
        let half = table.volume_mm3(&shares(1.0), &shares(0.5));
        // From all red, feeding white alone, a single tank is at one half after τ ln 2.
        assert!(half < machine.chamber.mixed_mm3 * 2f64.ln() + 1e-9);
        assert!(half > machine.chamber.mixed_mm3 * 0.3);
        let whole = table.volume_mm3(&shares(1.0), &shares(0.0));
        assert!(whole > 2.0 * half);
        assert_eq!(table.volume_mm3(&shares(0.3), &shares(0.3)), 0.0);
    }
}
