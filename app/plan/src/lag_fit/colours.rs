//! The fit to colours at heights.

use blend::colour::LocalMetric;
use blend::{Lab, LinearLight, MAX_COMPONENTS, MixModel, Shares};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Vector2, storage::Owned};

use super::{LagFault, LagFit, Unit, errors};
use crate::delivery::{Feed, delivered};
use crate::economy::main_skin_mm3;
use crate::machine::Chamber;
use crate::{AsPrinted, Plan, Schedule};

/// The fewest readings that a fit makes sense with.
const LEAST: usize = 8;
/// The usual error of a reading, ΔE00; only its ratio to [`GIVE`] matters.
const READING: f64 = 1.0;
/// How far a spool's colour may be from what the plan says, ΔE00 along each axis: the fit finds
/// that as well, so that a wrong label does not become a wrong chamber.
const GIVE: f64 = 5.0;
/// The same where the spools were measured in blends.
const MEASURED_GIVE: f64 = 2.0;
/// How far a spool's tinting strength may be from what the model says, as a natural logarithm:
/// 0.7 is a factor of two. A strong spool makes every change to it look early and every change
/// from it late, so that changes in both directions tell it from the lag.
const STRENGTH_GIVE: f64 = 0.7;
/// The same where the spools were measured in blends.
const MEASURED_STRENGTH_GIVE: f64 = 0.2;
/// Where blends were not measured, they may be stirred as the model says (0), lie side by side
/// and add up as light does (1), or anything between: what is usual, and how far it may be from
/// that (our assumption, no source).
const SIDE_BY_SIDE: f64 = 0.4;
const SIDE_BY_SIDE_GIVE: f64 = 0.5;

/// Spools mix in more ways than between the two that are fitted: errors are so many times as wide
/// where blends were not measured (our reckoning on simulated readings).
const NOT_MEASURED: f64 = 1.3;

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
    let beside = LinearLight::new(&plan.spools);
    let task = Task {
        model,
        tanks: plan.machine.chamber.tanks,
        feeds: commands.feeds(),
        seen: seen(schedule, printed, readings)?,
        components: plan.spools.len().min(MAX_COMPONENTS),
        side_by_side: (!measured).then_some(&beside),
    };
    let set = plan.machine.chamber;
    let typical = set.lag_mm3().max(5.0);
    let starts = [(0.5, 0.5), (0.2, 0.8), (0.5, 2.0), (2.0, 2.0), (2.0, 8.0)];
    let best = starts
        .iter()
        .filter_map(|(dead, mixed)| task.solve(dead * typical, mixed * typical))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .ok_or(LagFault::Blind)?
        .0;
    let errors = task.errors(&best).ok_or(LagFault::Blind)?;
    if !errors.iter().all(|v| v.is_finite()) || errors[1] > 1e3 * typical {
        return Err(LagFault::Blind);
    }
    let before = task.with_best_offsets(&set);
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

/// A reading and the volumes between which it was laid.
#[derive(Clone)]
struct Seen {
    from_mm3: f64,
    to_mm3: f64,
    metric: LocalMetric,
    /// After how many changes of blend it was laid, without the lag.
    change: usize,
}

fn seen(
    schedule: &Schedule,
    printed: &AsPrinted,
    readings: &[ColourReading],
) -> Result<Vec<Seen>, LagFault> {
    let top = schedule.layers.last().map_or(0.0, |l| l.span.top_mm);
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
            metric: LocalMetric::at(reading.lab),
            change: printed
                .compensation
                .commands
                .0
                .partition_point(|c| c.at_mm3 <= from_mm3),
        });
    }
    // The chamber is followed in order.
    found.sort_by(|a, b| a.from_mm3.total_cmp(&b.from_mm3));
    Ok(found)
}

/// The values are dead and mixed volume, for each component how far its colour is off, for all
/// but the first component the logarithm of its strength against what the model says, and where
/// blends were not measured how far they lie side by side.
#[derive(Clone)]
struct Task<'a> {
    model: &'a dyn MixModel,
    tanks: usize,
    feeds: Vec<Feed>,
    seen: Vec<Seen>,
    components: usize,
    /// The other way to mix, where blends were not measured.
    side_by_side: Option<&'a LinearLight>,
}

impl Task<'_> {
    /// Standard errors of dead volume, mixed volume and lag at the best values.
    fn errors(&self, best: &DVector<f64>) -> Option<[f64; 3]> {
        let volumes = |values: &DVector<f64>| Vector2::new(values[0], values[1]);
        let solve = |task: &Task<'_>| {
            let found = task.solve(best[0].max(0.1), best[1].max(0.1));
            found.map(|(values, _)| volumes(&values))
        };
        let slopes = self.slopes(best);
        let scatter = errors::sandwich(&slopes, &self.residuals(best), self.seen.len(), 3)?;
        let mut changes: Vec<usize> = self.seen.iter().map(|s| s.change).collect();
        changes.dedup();
        let without = changes.iter().filter_map(|change| {
            let mut task = self.clone();
            task.seen.retain(|s| s.change != *change);
            (task.seen.len() >= LEAST).then(|| solve(&task))?
        });
        let parted = errors::jackknife(&without.collect::<Vec<_>>());
        let scatter = errors::of_sum(&scatter);
        let found = errors::larger(scatter, parted.as_ref().map(errors::of_sum));
        let wider = match self.side_by_side {
            Some(_) => NOT_MEASURED,
            None => 1.0,
        };
        Some(found.map(|error| error * wider))
    }

    /// How far readings are off, root mean square, ΔE00.
    fn rms(&self, values: &DVector<f64>) -> f64 {
        let residuals = self.residuals(values);
        let squares: f64 = residuals
            .iter()
            .take(3 * self.seen.len())
            .map(|r| r * r)
            .sum();
        READING * (squares / self.seen.len() as f64).sqrt()
    }

    fn count(&self) -> usize {
        2 + 3 * self.components + self.strengths() + usize::from(self.side_by_side.is_some())
    }

    /// What is usual before anything was read.
    fn usual(&self, dead_mm3: f64, mixed_mm3: f64) -> DVector<f64> {
        let mut free = DVector::zeros(self.count());
        free[0] = dead_mm3.sqrt();
        free[1] = mixed_mm3.sqrt();
        if self.side_by_side.is_some() {
            free[self.count() - 1] = SIDE_BY_SIDE;
        }
        free
    }

    /// How a blend looks with some values, but for how far its spools are off.
    fn looks(&self, shares: &Shares, values: &DVector<f64>) -> Lab {
        let toned = self.toned(shares, values);
        let stirred = self.model.mix(&toned).to_lab();
        let Some(other) = self.side_by_side else {
            return stirred;
        };
        let part = values[self.count() - 1];
        let beside = other.mix(&toned).to_lab();
        let between = |a: f64, b: f64| a + (b - a) * part;
        Lab {
            l: between(stirred.l, beside.l),
            a: between(stirred.a, beside.a),
            b: between(stirred.b, beside.b),
        }
    }

    fn strengths(&self) -> usize {
        self.components.saturating_sub(1)
    }

    /// A blend as it looks with the strengths of some values.
    fn toned(&self, shares: &Shares, values: &DVector<f64>) -> Shares {
        let first = 2 + 3 * self.components;
        let strength = |i: usize| match i.checked_sub(1) {
            Some(i) => values.get(first + i).map_or(1.0, |log| log.exp()),
            None => 1.0,
        };
        let parts = shares.as_slice().iter().enumerate();
        let weights: Vec<f64> = parts.map(|(i, share)| share * strength(i)).collect();
        Shares::from_weights(&weights).unwrap_or(*shares)
    }

    fn chamber(&self, values: &DVector<f64>) -> Chamber {
        Chamber {
            dead_mm3: values[0].max(0.0),
            mixed_mm3: values[1].max(0.0),
            tanks: self.tanks,
        }
    }

    /// The blend of each reading under a chamber.
    fn blends(&self, chamber: &Chamber) -> Vec<Shares> {
        let Some(start) = self.feeds.first().map(|f| f.from) else {
            return Vec::new();
        };
        let mut edges: Vec<f64> = self
            .seen
            .iter()
            .flat_map(|s| [s.from_mm3, s.to_mm3])
            .collect();
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let out = delivered(chamber, &start, &self.feeds, &edges);
        self.seen
            .iter()
            .map(|seen| {
                let at = edges
                    .partition_point(|e| *e <= seen.from_mm3)
                    .saturating_sub(1);
                out.get(at).copied().unwrap_or(start)
            })
            .collect()
    }

    /// Differences in usual errors, then how far colours are off in units of their give.
    fn residuals(&self, values: &DVector<f64>) -> DVector<f64> {
        let offset = |axis: usize, shares: &Shares| -> f64 {
            let parts = shares.as_slice().iter().enumerate();
            parts
                .filter_map(|(i, share)| Some(share * values.get(2 + 3 * i + axis)?))
                .sum()
        };
        let blends = self.blends(&self.chamber(values));
        let seen = self.seen.iter().zip(&blends).flat_map(|(seen, shares)| {
            let lab = self.looks(shares, values);
            let moved = Lab {
                l: lab.l + offset(0, shares),
                a: lab.a + offset(1, shares),
                b: lab.b + offset(2, shares),
            };
            seen.metric.difference(moved).map(|d| d / READING)
        });
        let offsets = 3 * self.components;
        let (colour_give, strength_give) = match self.side_by_side {
            Some(_) => (GIVE, STRENGTH_GIVE),
            None => (MEASURED_GIVE, MEASURED_STRENGTH_GIVE),
        };
        let strengths = offsets + self.strengths();
        let gives = values.iter().skip(2).enumerate();
        let give = gives.map(|(i, v)| match i {
            i if i < offsets => v / colour_give,
            i if i < strengths => v / strength_give,
            _ => (v - SIDE_BY_SIDE) / SIDE_BY_SIDE_GIVE,
        });
        let length = 3 * self.seen.len() + self.count() - 2;
        DVector::from_iterator(length, seen.chain(give))
    }

    fn slopes(&self, values: &DVector<f64>) -> DMatrix<f64> {
        let columns: Vec<DVector<f64>> = (0..self.count())
            .map(|i| {
                let step = if i < 2 {
                    1e-4 * values[i].abs().max(1.0)
                } else {
                    1e-3
                };
                let mut more = values.clone();
                let mut less = values.clone();
                more[i] += step;
                // A volume can't be below nothing.
                less[i] = if i < 2 {
                    (less[i] - step).max(0.0)
                } else {
                    less[i] - step
                };
                (self.residuals(&more) - self.residuals(&less)) / (more[i] - less[i])
            })
            .collect();
        DMatrix::from_columns(&columns)
    }

    /// The best values from a start, and their cost.
    fn solve(&self, dead_mm3: f64, mixed_mm3: f64) -> Option<(DVector<f64>, f64)> {
        let free = self.usual(dead_mm3, mixed_mm3);
        let problem = Problem {
            task: self,
            free,
            volumes: true,
        };
        self.run(problem)
    }

    /// The best colours for a chamber that stays as it is.
    fn with_best_offsets(&self, chamber: &Chamber) -> Option<DVector<f64>> {
        let free = self.usual(chamber.dead_mm3, chamber.mixed_mm3);
        let problem = Problem {
            task: self,
            free,
            volumes: false,
        };
        self.run(problem).map(|(values, _)| values)
    }

    fn run(&self, problem: Problem<'_>) -> Option<(DVector<f64>, f64)> {
        let (problem, report) = LevenbergMarquardt::new()
            .with_tol(1e-10)
            .with_patience(30)
            .minimize(problem);
        let values = problem.values();
        let sound = report.objective_function.is_finite() && values.iter().all(|v| v.is_finite());
        sound.then_some((values, report.objective_function))
    }
}

/// The search in free numbers: the roots of the volumes, so that these stay above 0.
struct Problem<'a> {
    task: &'a Task<'a>,
    free: DVector<f64>,
    /// Whether the volumes are free.
    volumes: bool,
}

impl Problem<'_> {
    fn values(&self) -> DVector<f64> {
        let mut values = self.free.clone();
        for i in 0..2 {
            values[i] *= values[i];
        }
        values
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, free: &DVector<f64>) {
        self.free.copy_from(free);
    }

    fn params(&self) -> DVector<f64> {
        self.free.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.task.residuals(&self.values()))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let mut slopes = self.task.slopes(&self.values());
        for i in 0..2 {
            let chain = if self.volumes {
                2.0 * self.free[i]
            } else {
                0.0
            };
            slopes.column_mut(i).scale_mut(chain);
        }
        Some(slopes)
    }
}
