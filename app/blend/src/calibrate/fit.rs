//! The fit, from readings to the document.

use super::alone;
use super::choice::{self, Tried};
use super::doubts::{self, wanted_steps};
use super::errors::Errors;
use super::family::Family;
use super::fault::suspects;
use super::fitted::{self, Fitted};
use super::least_squares::Observation;
use super::sorted::{Sorted, rms};
use super::{FeedFault, MeasuredSpools, MeasuredStep, Measurements, StepResult, VERSION, Warning};
use crate::mix::{LinearLight, MixModel};
use crate::{MAX_COMPONENTS, SpoolColour, SpoolError, ciede2000};

/// Why nothing can be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// One spool, or too many.
    #[error("a fit needs 2 to {MAX_COMPONENTS} spools, and this has {0}")]
    Spools(usize),
    /// A spool is impossible.
    #[error(transparent)]
    Spool(#[from] SpoolError),
    /// A step has another number of shares than there are spools.
    #[error("step {step} has {count} shares for {spools} spools; give one share for each")]
    Count {
        /// The step, from 1.
        step: usize,
        /// Its shares.
        count: usize,
        /// The spools.
        spools: usize,
    },
    /// A reading is no colour.
    #[error("step {step} has a reading that is not a colour; L* runs from 0 to 100")]
    Reading {
        /// The step, from 1.
        step: usize,
    },
    /// Every lightness is a fraction.
    #[error(
        "every reading has L* from 0 to 1, like a fraction; L* runs from 0 to 100: write 94.1 for \
         0.941"
    )]
    Fraction,
    /// Too few mixed steps to fit anything.
    #[error(
        "{mixed} measured steps mix two spools or more; you need at least {least} for a fit, and \
         {wanted} for one that you can trust"
    )]
    TooFew {
        /// Mixed steps.
        mixed: usize,
        /// The least.
        least: usize,
        /// The number that is enough.
        wanted: usize,
    },
    /// The optimiser found no rest.
    #[error("no strengths fit these readings; check that each is written beside its own step")]
    NoFit,
}

/// Finds strengths, surface constants and how the spools meet, by bounded least squares on the
/// steps. Of the ways of mixing it chooses the one that comes nearest to steps left out.
///
/// A step of one spool alone gives that spool's colour, in place of the listed one, unless the
/// spool is listed with a spectrum. The mixed steps give the rest; one that is far from what
/// the others say is left out and told of.
///
/// # Errors
/// [`FitError`] when the measurements can't be fitted at all; doubts about a fit are in
/// [`MeasuredSpools::warnings`].
pub fn fit(measurements: &Measurements) -> Result<MeasuredSpools, FitError> {
    check(measurements)?;
    let Measurements {
        spools,
        steps,
        specular,
        ..
    } = measurements;
    let sorted = Sorted::new(spools, steps, *specular);
    let mut warnings = doubts::about_steps(&sorted, spools);
    let (sorted, off) = explained(measurements, sorted, &mut warnings);
    let (mut fitted, tried) = choice::best(&sorted).ok_or(FitError::NoFit)?;
    warnings.extend(doubts::about_fit(&sorted, &fitted));
    let errors = Errors::of(&sorted, &fitted).ok_or(FitError::NoFit)?;
    fitted.left_out.extend(off);
    let found = Found {
        errors,
        sorted,
        fitted,
        tried,
        warnings,
    };
    Ok(document(measurements, found))
}

/// What explains steps that fit badly, told as warnings: readings of a spool alone that the
/// mixed steps contradict, which are left out, or a fault of the feed.
fn explained(
    measurements: &Measurements,
    sorted: Sorted,
    warnings: &mut Vec<Warning>,
) -> (Sorted, Vec<usize>) {
    let Measurements {
        spools,
        steps,
        specular,
        ..
    } = measurements;
    let misfit = |told: &[MeasuredStep]| misfit(&Sorted::new(spools, told, *specular));
    let Some(as_told) = misfit(steps) else {
        return (sorted, Vec::new());
    };
    let contradicted = alone::contradicted(&sorted, spools);
    let otherwise = contradicted.as_ref().map(|c| c.misfit_delta_e00);
    let faults = suspects(steps, spools.len(), otherwise, misfit);
    let blamed = !faults.is_empty();
    let faults = faults.into_iter();
    warnings.extend(faults.map(|(fault, if_so)| suspicion(fault, as_told, if_so)));
    let Some(contradicted) = contradicted.filter(|_| !blamed) else {
        return (sorted, Vec::new());
    };
    let spool = contradicted.spool;
    let name = spools.get(spool).map_or("", |s| s.name.as_str());
    let (off, told): (Vec<usize>, Vec<Warning>) =
        contradicted.left_out(steps, name).into_iter().unzip();
    warnings.extend(told);
    (sorted.without(steps, &off, spool, contradicted.colour), off)
}

/// How badly all steps fit the member of the family that they fit best.
fn misfit(sorted: &Sorted) -> Option<f64> {
    let each = Family::ALL.into_iter();
    let each = each.filter_map(|family| fitted::misfit(sorted, family));
    each.min_by(f64::total_cmp)
}

/// All that goes into the document.
struct Found {
    sorted: Sorted,
    fitted: Fitted,
    errors: Errors,
    tried: Vec<Tried>,
    warnings: Vec<Warning>,
}

fn suspicion(fault: FeedFault, as_told_delta_e00: f64, if_so_delta_e00: f64) -> Warning {
    Warning::LooksLikeFeedFault {
        fault,
        as_told_delta_e00,
        if_so_delta_e00,
    }
}

fn check(measurements: &Measurements) -> Result<(), FitError> {
    let spools = measurements.spools.len();
    if !(2..=MAX_COMPONENTS).contains(&spools) {
        return Err(FitError::Spools(spools));
    }
    for spool in &measurements.spools {
        spool.check()?;
    }
    for (i, step) in measurements.steps.iter().enumerate() {
        if step.shares.count() != spools {
            return Err(FitError::Count {
                step: i + 1,
                count: step.shares.count(),
                spools,
            });
        }
        if !step.colour.is_believable() {
            return Err(FitError::Reading { step: i + 1 });
        }
    }
    let lightness = measurements.steps.iter().filter_map(|s| match s.colour {
        SpoolColour::Lab(lab) => Some(lab.l),
        SpoolColour::Hex(_) | SpoolColour::Spectrum(_) => None,
    });
    let lightness: Vec<f64> = lightness.collect();
    if !lightness.is_empty() && lightness.iter().all(|l| *l <= 1.0) {
        return Err(FitError::Fraction);
    }
    let mixed = measurements
        .steps
        .iter()
        .filter(|s| s.alone().is_none())
        .count();
    let least = spools;
    if mixed < least {
        return Err(FitError::TooFew {
            mixed,
            least,
            wanted: wanted_steps(spools),
        });
    }
    Ok(())
}

fn document(measurements: &Measurements, found: Found) -> MeasuredSpools {
    let Found {
        sorted,
        fitted,
        errors,
        tried,
        warnings,
    } = found;
    let numbers = fitted.numbers();
    let model = numbers.model(&sorted.plastics);
    let linear = LinearLight::new(&sorted.spools);
    let linear = sorted.differences(&linear, &fitted.kept);
    let result = |(i, step): (usize, &MeasuredStep)| {
        let Observation {
            shares, measured, ..
        } = sorted.observations[i];
        let predicted = model.mix(&shares).to_lab();
        let delta_e00 = ciede2000(measured, predicted);
        let left_out = fitted.left_out.contains(&i);
        StepResult {
            step: step.clone(),
            measured,
            predicted,
            delta_e00,
            leave_one_out_delta_e00: if left_out {
                Some(delta_e00)
            } else {
                fitted.leave_one_out_of(i)
            },
            left_out,
        }
    };
    MeasuredSpools {
        version: VERSION,
        steps: measurements.steps.iter().enumerate().map(result).collect(),
        mixing: numbers.mixing,
        strengths: numbers.strengths,
        strength_errors: errors.strengths,
        surface: numbers.surface,
        specular: measurements.specular,
        covariance: errors.covariance,
        spools_moved: errors.spools_moved,
        reading_rms_delta_e00: errors.reading.map(|each| each * 3f64.sqrt()),
        model_rms_delta_e00: errors.model,
        rms_delta_e00: fitted.rms,
        leave_one_out_rms_delta_e00: fitted.leave_one_out_rms(),
        linear_light_rms_delta_e00: rms(&linear),
        tried,
        warnings,
        provenance: measurements.provenance.clone(),
        spools: sorted.spools,
    }
}
