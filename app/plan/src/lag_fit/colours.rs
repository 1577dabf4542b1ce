//! The fit to colours at heights.

use blend::colour::LocalMetric;
use blend::mix::{Component, Saunderson};
use blend::{Lab, MAX_COMPONENTS, MixModel, Shares};
use nalgebra::DVector;

use super::scatter::Scatter;
use super::task::{Gives, HEIGHT_MM, Seen, Task};
use super::{LagFault, LagFit, Unit, search};
use crate::economy::{Heights, main_skin_mm3};
use crate::{AsPrinted, Plan, Schedule};

/// The fewest readings that a fit makes sense with.
const LEAST: usize = 8;

/// A colour that was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourReading {
    /// At this height, mm.
    pub height_mm: f64,
    /// The colour.
    pub lab: Lab,
}

/// Fits a chamber of as many tanks as the plan's machine has to colours by height.
///
/// # Errors
/// [`LagFault`].
pub fn of_colours(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    printed: &AsPrinted,
    readings: &[ColourReading],
) -> Result<LagFit, LagFault> {
    let commands = &printed.compensation.commands;
    if commands.changes() == 0 {
        return Err(LagFault::NoChange);
    }
    if readings.len() < LEAST {
        return Err(LagFault::TooFew(readings.len(), LEAST));
    }
    let measured = plan.spools.measured.is_some();
    let components = || {
        let spools = plan.spools.iter().take(MAX_COMPONENTS);
        spools
            .map(|s| Component::of_spool(s, Saunderson::USUAL))
            .collect()
    };
    let seen = seen(schedule, printed, readings)?;
    let pair = pair(plan, commands.0.iter().map(|c| &c.shares));
    let mut task = Task {
        model,
        tanks: plan.machine.chamber.tanks,
        feeds: commands.feeds(),
        scatter: vec![Scatter::even(); seen.len()],
        height_mm: HEIGHT_MM,
        seen,
        components: plan.spools.len().min(MAX_COMPONENTS),
        pair,
        gives: gives(measured, model, pair),
        unmeasured: (!measured).then(components),
    };
    let set = plan.machine.chamber;
    let typical = set.lag_mm3().max(5.0);
    let starts = [(0.5, 0.5), (0.2, 0.8), (0.5, 2.0), (2.0, 2.0), (2.0, 8.0)];
    let mut best = starts
        .iter()
        .filter_map(|(dead, mixed)| search::solve(&task, [dead * typical, mixed * typical]))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .ok_or(LagFault::Blind)?
        .0;
    for _ in 0..ROUNDS {
        let (scatter, height_mm) = task.scatter_at(&best);
        task.scatter = scatter;
        task.height_mm = height_mm.clamp(0.5 * HEIGHT_MM, 4.0 * HEIGHT_MM);
        let from = [best[0].max(0.1), best[1].max(0.1)];
        best = search::solve(&task, from).ok_or(LagFault::Blind)?.0;
    }
    let errors = task.errors(&best).ok_or(LagFault::Blind)?;
    if !errors.iter().all(|v| v.is_finite()) || errors[1] > 1e3 * typical {
        return Err(LagFault::Blind);
    }
    let before = search::with_chamber(&task, &set);
    let rms = |values: &DVector<f64>| task.rms(values);
    let misfit = rms(&best);
    Ok(LagFit {
        chamber: task.chamber(&best),
        dead_error_mm3: errors[0],
        mixed_error_mm3: errors[1],
        lag_error_mm3: errors[2],
        misfit,
        misfit_before: before.map_or(f64::NAN, |values| rms(&values)),
        unit: Unit::De00,
        readings: readings.len(),
        warnings: warnings(measured, misfit),
    })
}

/// How often the scatter of readings is found from a fit, and the fit made anew with it.
const ROUNDS: usize = 2;

/// What is usually off, ΔE00 along each axis unless said otherwise (our assumptions, no source):
/// a spool's colour against the plan's, and its tinting strength as a natural logarithm, where
/// 0.7 is a factor of two. A strong spool makes every change to it look early and every change
/// from it late, so that changes in both directions tell it from the lag. Blends in between are
/// off by `between` beside all that: no model of mixing is quite that of a hotend (M. Kennedy,
/// A. O'Hagan, *Bayesian calibration of computer models*, Journal of the Royal Statistical
/// Society B 63, 2001, from memory). A fit of the spools says itself how far that is.
fn gives(measured: bool, model: &dyn MixModel, pair: [usize; 2]) -> Gives {
    let half = pair.map(|i| Shares::pure(i, model.count()));
    let told = match half {
        [Some(one), Some(other)] => model.uncertainty(&one.toward(&other, 0.5)),
        _ => None,
    };
    match measured {
        true => Gives {
            colour: 2.0,
            strength: 0.2,
            between: told.unwrap_or(1.0) / WAVES_RMS,
        },
        false => Gives {
            colour: 5.0,
            strength: 0.7,
            between: 5.0,
        },
    }
}

/// How far waves of one in each axis are off together, root mean square over all blends:
/// √(3 · (1 + 1/4 + 1/9) / 2).
const WAVES_RMS: f64 = 1.43;

/// The two components that commands feed most of, the first of them first.
fn pair<'a>(plan: &Plan, commands: impl Iterator<Item = &'a Shares>) -> [usize; 2] {
    let mut fed = vec![0.0; plan.spools.len()];
    for shares in commands {
        for (sum, share) in fed.iter_mut().zip(shares.as_slice()) {
            *sum += share;
        }
    }
    let mut most: Vec<usize> = (0..fed.len()).collect();
    most.sort_by(|a, b| fed[*b].total_cmp(&fed[*a]));
    let mut two = [most.first(), most.get(1)].map(|i| i.copied().unwrap_or(0));
    two.sort_unstable();
    two
}

/// Above this, readings do not follow any chamber well, ΔE00 (our assumption, no source).
const MISFIT: f64 = 4.0;

fn warnings(measured: bool, misfit: f64) -> Vec<String> {
    let mut found = Vec::new();
    if !measured {
        found.push(
            "the blends of these spools were not measured, so the errors are wider. Print and fit \
             the test bar (tintfall swatch, tintfall fit) to reduce them"
                .to_owned(),
        );
    }
    if misfit > MISFIT {
        found.push(format!(
            "no chamber fits these readings better than ΔE00 {misfit:.1}: check the table for \
             errors, and that heights count from the bed"
        ));
    }
    found
}

fn seen(
    schedule: &Schedule,
    printed: &AsPrinted,
    readings: &[ColourReading],
) -> Result<Vec<Seen>, LagFault> {
    let top = schedule.layers.last().map_or(0.0, |l| l.span.top_mm);
    let heights = Heights::new(&printed.extrusion, schedule);
    let mut found = Vec::with_capacity(readings.len());
    for (i, reading) in readings.iter().enumerate() {
        let height = reading.height_mm;
        let layer = schedule.layers.partition_point(|l| l.span.top_mm < height);
        let place = match (0.0..=top + 1e-6).contains(&height) {
            true => main_skin_mm3(&printed.extrusion, layer.min(schedule.layers.len() - 1)),
            false => None,
        };
        let (from_mm3, to_mm3) = place.ok_or_else(|| {
            let what = format!("{height} mm is not on the part, which goes from 0 to {top:.2} mm");
            LagFault::reading(i, what)
        })?;
        found.push(Seen {
            from_mm3,
            to_mm3,
            mm3_per_mm: heights.slope_mm3_per_mm(height),
            metric: LocalMetric::at(reading.lab),
        });
    }
    // The chamber is followed in order.
    found.sort_by(|a, b| a.from_mm3.total_cmp(&b.from_mm3));
    Ok(found)
}
