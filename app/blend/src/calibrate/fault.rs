//! Steps that fit far better if the machine fed something else than it was told.

use serde::{Deserialize, Serialize};

use super::MeasuredStep;
use crate::{MAX_COMPONENTS, Shares};

/// What the machine, or the person who measured, may have done.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum FeedFault {
    /// Two spools sit in each other's feed, or their shares are swapped. Counted from 0.
    Swapped(usize, usize),
    /// The steps were measured from the wrong end.
    WrongEnd,
    /// Each reading belongs to the step after the one that it was written down for.
    OneStepLate,
    /// Each reading belongs to the step before the one that it was written down for.
    OneStepEarly,
    /// Each step still holds this share of the blend before it: too little was purged, or the
    /// steps are too low for the hotend's chamber.
    CarriedOver(f64),
    /// A component told to feed less than this share feeds nothing: its drive slips, or its
    /// least feed is set too low.
    FeedsNothingBelow(f64),
}

impl std::fmt::Display for FeedFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Swapped(one, other) => write!(
                f,
                "spools {} and {} are swapped; check which is in which inlet",
                one + 1,
                other + 1
            ),
            Self::WrongEnd => write!(
                f,
                "the steps were measured from the wrong end; compare the part with its sheet"
            ),
            Self::OneStepLate | Self::OneStepEarly => write!(
                f,
                "the readings are one step off; compare the part with its sheet"
            ),
            Self::CarriedOver(share) => write!(
                f,
                "each step still has {:.0} % of the blend before it; make the steps higher or \
                 purge more",
                share * 100.0
            ),
            Self::FeedsNothingBelow(share) => write!(
                f,
                "a component below {:.0} % feeds nothing; check for a slipping drive, a jam or a \
                 tangled spool",
                share * 100.0
            ),
        }
    }
}

impl FeedFault {
    /// The steps with what was fed if this is what happened; a step of which that can't be
    /// told is left out.
    fn as_fed(self, told: &[MeasuredStep]) -> Vec<MeasuredStep> {
        let steps = told.iter().enumerate().filter_map(|(i, step)| {
            Some(MeasuredStep {
                shares: self.fed(told, i)?,
                colour: step.colour.clone(),
            })
        });
        steps.collect()
    }

    fn fed(self, told: &[MeasuredStep], i: usize) -> Option<Shares> {
        let step = told.get(i)?;
        let shares_of = |i: usize| told.get(i).map(|s| s.shares);
        match self {
            Self::Swapped(one, other) => {
                let mut shares = step.shares.as_slice().to_vec();
                shares.swap(one, other);
                Shares::new(&shares).ok()
            }
            Self::WrongEnd => shares_of(told.len() - 1 - i),
            Self::OneStepLate => shares_of(i + 1),
            Self::OneStepEarly => shares_of(i.checked_sub(1)?),
            // A step of one spool alone stays the best reading of that spool there is.
            Self::CarriedOver(_) | Self::FeedsNothingBelow(_) if step.alone().is_some() => {
                Some(step.shares)
            }
            Self::CarriedOver(share) => match i.checked_sub(1).and_then(shares_of) {
                Some(before) => Some(step.shares.toward(&before, share)),
                None => Some(step.shares),
            },
            Self::FeedsNothingBelow(share) => {
                let fed = |s: &f64| if *s < share { 0.0 } else { *s };
                let shares: Vec<f64> = step.shares.as_slice().iter().map(fed).collect();
                Shares::from_weights(&shares).ok()
            }
        }
    }

    fn all(spools: usize) -> Vec<Self> {
        let mut all = vec![Self::WrongEnd, Self::OneStepLate, Self::OneStepEarly];
        for one in 0..spools.min(MAX_COMPONENTS) {
            for other in one + 1..spools.min(MAX_COMPONENTS) {
                all.push(Self::Swapped(one, other));
            }
        }
        all.extend([0.1, 0.2, 0.3, 0.4, 0.5, 0.7].map(Self::CarriedOver));
        all.extend([0.06, 0.11, 0.16, 0.21, 0.26].map(Self::FeedsNothingBelow));
        all
    }
}

/// The faults under which the steps fit much better than as they were told, best first, each
/// with its misfit; none where something else explains them better, with a misfit of its own.
/// `misfit` gives the misfit of a list of steps, ΔE00.
pub(super) fn suspects(
    told: &[MeasuredStep],
    spools: usize,
    otherwise: Option<f64>,
    misfit: impl Fn(&[MeasuredStep]) -> Option<f64>,
) -> Vec<(FeedFault, f64)> {
    // A fit this good needs no excuse.
    const GOOD: f64 = 2.0;
    // The misfit must fall to this share of itself: any fault gains a little.
    const MUCH_BETTER: f64 = 0.5;
    // Faults this near to the best explain as much.
    const AS_GOOD: f64 = 1.1;
    let Some(as_told) = misfit(told).filter(|m| *m > GOOD) else {
        return Vec::new();
    };
    let mut found: Vec<(FeedFault, f64)> = FeedFault::all(spools)
        .into_iter()
        .filter_map(|fault| Some((fault, misfit(&fault.as_fed(told))?)))
        .filter(|(_, m)| *m < MUCH_BETTER * as_told)
        .collect();
    found.sort_by(|a, b| a.1.total_cmp(&b.1));
    let best = found.first().map_or(0.0, |f| f.1);
    // One misreading is more usual than a fault of the machine that explains no more.
    let most = otherwise.map_or(f64::INFINITY, |other| other / AS_GOOD);
    found.retain(|(_, m)| *m <= AS_GOOD * best + 0.05 && *m < most);
    // Neighbouring amounts of one kind of fault are one suspicion.
    found.dedup_by_key(|(fault, _)| std::mem::discriminant(fault));
    found
}
