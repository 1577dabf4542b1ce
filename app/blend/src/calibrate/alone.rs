//! Whether the readings of a spool alone go with those of its blends.

use super::family::Family;
use super::fitted::misfits_of_mixed;
use super::sorted::{Sorted, rms};
use super::{MeasuredStep, Warning};
use crate::{Lab, Spool, ciede2000};

/// A spool of which the blends say that it has its listed colour, and not the one read of it
/// alone.
pub(super) struct Contradicted {
    pub spool: usize,
    /// Its listed colour.
    pub colour: Lab,
    /// Misfit of the mixed steps with that colour, ΔE00.
    pub misfit_delta_e00: f64,
}

/// The misfit must fall to this share of itself.
const BETTER: f64 = 0.8;
/// A reading is off by more than so many times what the mixed steps then miss by,
const TIMES: f64 = 3.0;
/// and by more than this, ΔE00.
const LEAST: f64 = 3.0;

/// The spool whose listed colour fits its blends far better than what was read of it alone, if
/// there is one. A label that is itself rough never does.
pub(super) fn contradicted(sorted: &Sorted, listed: &[Spool]) -> Option<Contradicted> {
    let far = |spool: &usize| {
        let off = sorted.off_list.get(*spool).copied().flatten();
        off.is_some_and(|off| off > LEAST)
    };
    let far: Vec<usize> = (0..listed.len()).filter(far).collect();
    if far.is_empty() {
        return None;
    }
    let as_read = misfit(sorted)?;
    let each = far.into_iter().filter_map(|spool| {
        let colour = listed.get(spool)?.xyz().to_lab();
        let misfit_delta_e00 = misfit(&sorted.with_colour(spool, colour))?;
        let off = sorted.off_list.get(spool).copied().flatten()?;
        let sure = misfit_delta_e00 < BETTER * as_read && off > TIMES * misfit_delta_e00;
        sure.then_some(Contradicted {
            spool,
            colour,
            misfit_delta_e00,
        })
    });
    each.min_by(|a, b| a.misfit_delta_e00.total_cmp(&b.misfit_delta_e00))
}

/// Misfit of the mixed steps alone, with the member of the family that they fit best.
fn misfit(sorted: &Sorted) -> Option<f64> {
    let each = Family::ALL.into_iter();
    let each = each.filter_map(|family| Some(rms(&misfits_of_mixed(sorted, family)?)));
    each.min_by(f64::total_cmp)
}

impl Contradicted {
    /// The steps whose readings are off, each with a warning.
    pub(super) fn left_out(&self, steps: &[MeasuredStep], name: &str) -> Vec<(usize, Warning)> {
        let limit = LEAST.max(TIMES * self.misfit_delta_e00);
        let alone = steps.iter().enumerate();
        let alone = alone.filter(|(_, step)| step.alone() == Some(self.spool));
        alone
            .map(|(i, step)| (i, ciede2000(self.colour, step.colour.xyz().to_lab())))
            .filter(|(_, off)| *off > limit)
            .map(|(i, delta_e00)| {
                let warning = Warning::AloneOff {
                    step: i + 1,
                    spool: name.to_owned(),
                    delta_e00,
                };
                (i, warning)
            })
            .collect()
    }
}
