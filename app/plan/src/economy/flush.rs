//! How much has to be flushed between two blends.

use std::collections::HashMap;

use blend::{MixModel, Shares, ciede2000};

use crate::Machine;

/// What it takes to get from one blend to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Settling {
    /// What is fed first: the new blend, or one beyond it that gets the chamber there sooner.
    pub first: Shares,
    /// For how long one beyond it is fed, mm³; 0 if none is.
    pub beyond_mm3: f64,
    /// What has to be laid before the new blend may be seen, mm³: from where the change begins
    /// to leave the dead volume if it is sent ahead, else from where it is sent.
    pub volume_mm3: f64,
}

/// What changes take, worked out once for each pair of blends.
///
/// ```
/// use blend::{LinearLight, Shares};
/// use plan::economy::FlushTable;
/// use plan::{FirstPlan, MeshSource, Plan};
///
/// let mesh = MeshSource::named("post.stl");
/// let plan = Plan::first(FirstPlan { mesh, title: "Post".into(), height_mm: 100.0 });
/// let model = LinearLight::new(&plan.spools);
/// let mut table = FlushTable::new(&plan.machine, &model, true);
/// let (first, second) = (Shares::pure(0, 2).expect("one"), Shares::pure(1, 2).expect("two"));
/// assert!(table.volume_mm3(&first, &second) > plan.machine.chamber.mixed_mm3);
/// ```
pub struct FlushTable<'a> {
    machine: &'a Machine,
    model: &'a dyn MixModel,
    lead: bool,
    allowed_de00: f64,
    known: HashMap<(Key, Key), Option<Settling>>,
}

type Key = Vec<u64>;

fn key(shares: &Shares) -> Key {
    shares.as_slice().iter().map(|s| s.to_bits()).collect()
}

impl<'a> FlushTable<'a> {
    /// A table for a machine; `lead` if changes are sent ahead of their place.
    pub fn new(machine: &'a Machine, model: &'a dyn MixModel, lead: bool) -> Self {
        Self {
            machine,
            model,
            lead,
            allowed_de00: machine.flush.allowed_de00,
            known: HashMap::new(),
        }
    }

    /// With another allowance than the machine's: how far a blend may be off when it is seen
    /// first, ΔE00.
    pub fn allowing(self, allowed_de00: f64) -> Self {
        Self {
            allowed_de00,
            known: HashMap::new(),
            ..self
        }
    }

    /// Volume to lay after the last of one blend, before the next may be seen, mm³.
    pub fn volume_mm3(&mut self, from: &Shares, to: &Shares) -> f64 {
        self.settling(from, to).map_or(0.0, |s| s.volume_mm3)
    }

    /// What a change takes; none where its whole step is no more than a blend may be off.
    ///
    /// A change that is sent ahead of its place costs no dead volume, for that is still filled
    /// with the old blend when the change begins. And it may feed beyond the blend that is
    /// aimed at until the chamber has it, which a single tank reaches in finite volume.
    pub(crate) fn settling(&mut self, from: &Shares, to: &Shares) -> Option<Settling> {
        if from == to {
            return None;
        }
        let pair = (key(from), key(to));
        if let Some(known) = self.known.get(&pair) {
            return *known;
        }
        let found = self.worked_out(from, to);
        self.known.insert(pair, found);
        found
    }

    fn worked_out(&self, from: &Shares, to: &Shares) -> Option<Settling> {
        let rest = rest_allowed(self.model, from, to, self.allowed_de00);
        if rest >= 1.0 {
            return None;
        }
        let chamber = &self.machine.chamber;
        let dead_mm3 = if self.lead { chamber.dead_mm3 } else { 0.0 };
        let plainly = Settling {
            first: *to,
            beyond_mm3: 0.0,
            volume_mm3: (chamber.flushed_mm3(rest) - dead_mm3).max(0.0),
        };
        Some(self.sharply(from, to, rest).unwrap_or(plainly))
    }

    /// Feeding beyond the new blend first, where that can be done and is worth a command.
    fn sharply(&self, from: &Shares, to: &Shares, rest: f64) -> Option<Settling> {
        let (machine, chamber) = (self.machine, &self.machine.chamber);
        if !self.lead || chamber.tanks > 1 || machine.stored_blends.is_some() {
            return None;
        }
        let farthest = farthest(machine, from, to)?;
        let first = machine.fed(&stretched(from, to, farthest)?);
        // Rounding to what can be fed moves it along the way.
        let farthest = along(from, to, &first)?;
        let after = |part: f64| -chamber.mixed_mm3 * (1.0 - part / farthest).ln();
        let beyond_mm3 = after(1.0);
        (farthest > 1.0 + 1e-6 && beyond_mm3 >= machine.least_between_changes_mm3()).then(|| {
            Settling {
                first,
                beyond_mm3,
                volume_mm3: after(1.0 - rest),
            }
        })
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

/// How far beyond the new blend, on the straight way from the old one, can be fed: 1 is the new
/// blend itself.
fn farthest(machine: &Machine, from: &Shares, to: &Shares) -> Option<f64> {
    let least = match machine.keep_all_moving {
        true => machine.least_in_steps(),
        false => 0.0,
    };
    let pairs = from.as_slice().iter().zip(to.as_slice());
    let farthest = pairs
        .filter(|(f, t)| t < f)
        .map(|(f, t)| (f - least) / (f - t))
        .fold(f64::INFINITY, f64::min);
    farthest.is_finite().then_some(farthest.max(1.0))
}

/// A blend on the straight way from one through another, so many times as far.
fn stretched(from: &Shares, to: &Shares, times: f64) -> Option<Shares> {
    let pairs = from.as_slice().iter().zip(to.as_slice());
    let parts: Vec<f64> = pairs.map(|(f, t)| (f + (t - f) * times).max(0.0)).collect();
    Shares::from_weights(&parts).ok()
}

/// How far along the straight way from one blend to another a third one lies, which may stand
/// a little beside it.
fn along(from: &Shares, to: &Shares, other: &Shares) -> Option<f64> {
    let (from, to, other) = (from.as_slice(), to.as_slice(), other.as_slice());
    let (mut square, mut product) = (0.0, 0.0);
    for ((f, t), o) in from.iter().zip(to).zip(other) {
        square += (t - f) * (t - f);
        product += (o - f) * (t - f);
    }
    (square > 0.0).then(|| product / square)
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
        let mut table = FlushTable::new(&machine, &model, false);
        let volume = table.settling(&red, &white).expect("a change").volume_mm3;
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
        let mut volume = |from: f64, to: f64| {
            table
                .settling(&shares(from), &shares(to))
                .map_or(0.0, |s| s.volume_mm3)
        };
        let half = volume(1.0, 0.5);
        // From all red, feeding white alone, a single tank is at one half after τ ln 2.
        assert!(half < machine.chamber.mixed_mm3 * 2f64.ln() + 1e-9);
        assert!(half > machine.chamber.mixed_mm3 * 0.3);
        let whole = volume(1.0, 0.0);
        assert!(whole > 2.0 * half);
        assert_eq!(volume(0.3, 0.3), 0.0);
        // Nothing to flush where the whole step may be off.
        assert_eq!(volume(0.3, 0.301), 0.0);
    }
}
