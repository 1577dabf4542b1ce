//! What to doubt about the steps, and about the fit to them.

use super::Warning;
use super::family::MOST_K2;
use super::fitted::{Fitted, LISTED_ROUGHLY};
use super::least_squares::Observation;
use super::sorted::Sorted;
use crate::Spool;
use crate::mix::Mixing;

/// Mixed steps that make a fit of so many spools trustworthy: five for each pair.
pub(super) fn wanted_steps(spools: usize) -> usize {
    5 * spools * spools.saturating_sub(1) / 2
}

/// Doubts about the steps, whatever is made of them. `listed` are the spools as they were listed.
pub(super) fn about_steps(sorted: &Sorted, listed: &[Spool]) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let wanted = wanted_steps(listed.len());
    if sorted.mixed.len() < wanted {
        warnings.push(Warning::TooFewSteps {
            mixed: sorted.mixed.len(),
            wanted,
        });
    }
    for (i, spool) in listed.iter().enumerate() {
        let spool = spool.name.clone();
        match sorted.off_list[i] {
            None => warnings.push(Warning::NeverAlone {
                spool: spool.clone(),
            }),
            Some(delta_e00) if delta_e00 > LISTED_ROUGHLY => {
                warnings.push(Warning::NotAsListed {
                    spool: spool.clone(),
                    delta_e00,
                });
            }
            Some(_) => {}
        }
        let has_it = |o: Observation| o.shares.as_slice()[i] > 0.0;
        if !sorted.of(&sorted.mixed).into_iter().any(has_it) {
            warnings.push(Warning::NeverMixed { spool });
        }
    }
    warnings
}

/// Doubts about a fit.
pub(super) fn about_fit(sorted: &Sorted, fitted: &Fitted) -> Vec<Warning> {
    // A white scatters tens of times as much as a dark plastic: that alone is not odd.
    const ODD_STRENGTH: f64 = 100.0;
    const POOR: f64 = 3.0;
    let mut warnings = Vec::new();
    let numbers = fitted.numbers();
    let off = sorted.differences(&numbers.model(&sorted.plastics), &fitted.left_out);
    for (i, delta_e00) in fitted.left_out.iter().zip(off) {
        warnings.push(Warning::LeftOut {
            step: i + 1,
            delta_e00,
        });
    }
    // A hair from a bound is at it: the fit nears bounds without end.
    const AT_BOUND: f64 = 0.01;
    let k2 = numbers.surface.k2();
    let tells = !matches!(numbers.mixing, Mixing::SideBySide { .. });
    if tells && !(AT_BOUND..=MOST_K2 - AT_BOUND).contains(&k2) {
        warnings.push(Warning::SurfaceAtBound { k2 });
    }
    for (spool, strength) in sorted.spools.iter().zip(numbers.strengths) {
        if !(1.0 / ODD_STRENGTH..=ODD_STRENGTH).contains(&strength) {
            warnings.push(Warning::OddStrength {
                spool: spool.name.clone(),
                strength,
            });
        }
    }
    if fitted.rms > POOR {
        warnings.push(Warning::PoorFit {
            rms_delta_e00: fitted.rms,
        });
    }
    warnings
}
