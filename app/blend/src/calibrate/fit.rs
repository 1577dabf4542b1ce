//! The fit, from readings to the document.

use super::fault::suspects;
use super::least_squares::{Observation, Solution, Task};
use super::parameters::Parameters;
use super::{
    FeedFault, MeasuredSpools, MeasuredStep, Measurements, Specular, StepResult, VERSION, Warning,
};
use crate::colour::LocalMetric;
use crate::mix::{LinearLight, MixModel, Plastic};
use crate::{Lab, MAX_COMPONENTS, Spool, SpoolColour, SpoolError, ciede2000};

/// Scatter of a hand instrument's readings on printed plastic, ΔE00 in each of the three
/// directions: where the fit starts from (common practice, no source).
const USUAL_NOISE: f64 = 0.5;

/// Scatter is never taken to be below this: no print and no instrument repeats better.
const LEAST_NOISE: f64 = 0.05;

/// Listed colours are taken to be this rough, ΔE00.
const LISTED_ROUGHLY: f64 = 8.0;

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
    #[error("step {step} has a reading that is no colour; L* runs from 0 to 100")]
    Reading {
        /// The step, from 1.
        step: usize,
    },
    /// Too few mixed steps to fit anything.
    #[error(
        "{mixed} measured steps mix two spools or more; at least {least} are needed to fit \
         anything, and {wanted} to trust it"
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

/// Mixed steps that make a fit of so many spools trustworthy: five for each pair.
fn wanted_steps(spools: usize) -> usize {
    5 * spools * spools.saturating_sub(1) / 2
}

/// Finds tinting strengths and surface constants by bounded least squares on the steps.
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
    let fitted = sorted.without_outliers().ok_or(FitError::NoFit)?;
    let mut warnings = sorted.warnings(spools);
    let misfit = |told: &[MeasuredStep]| Sorted::new(spools, told, *specular).misfit();
    if let Some(as_told) = sorted.misfit() {
        let told = suspects(steps, spools.len(), misfit);
        warnings.extend(
            told.into_iter()
                .map(|(fault, if_so)| suspicion(fault, as_told, if_so)),
        );
    }
    warnings.extend(fitted.warnings(&sorted));
    Ok(document(measurements, &sorted, &fitted, warnings))
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

/// The steps sorted into those of one spool alone and those of several.
struct Sorted {
    spools: Vec<Spool>,
    plastics: Vec<Plastic>,
    parameters: Parameters,
    /// For each spool measured alone, how far it is from the colour that it is listed with.
    off_list: Vec<Option<f64>>,
    /// For each spool, how many readings of it alone its colour comes from.
    alone: Vec<usize>,
    /// Every step's reading.
    observations: Vec<Observation>,
    /// Which steps are mixed.
    mixed: Vec<usize>,
}

impl Sorted {
    fn new(listed: &[Spool], steps: &[MeasuredStep], specular: Specular) -> Self {
        let mut spools = listed.to_vec();
        let mut off_list = vec![None; spools.len()];
        let mut counts = vec![0; spools.len()];
        for (i, spool) in spools.iter_mut().enumerate() {
            let alone = steps.iter().filter(|s| s.alone() == Some(i));
            let readings: Vec<Lab> = alone.map(|s| s.colour.xyz().to_lab()).collect();
            if let Some(measured) = mean(&readings) {
                off_list[i] = Some(ciede2000(spool.xyz().to_lab(), measured));
                if !matches!(spool.colour, SpoolColour::Spectrum(_)) {
                    counts[i] = readings.len();
                    spool.colour = SpoolColour::Lab(measured);
                }
            }
        }
        let plastics: Vec<Plastic> = spools.iter().map(Plastic::of_spool).collect();
        let parameters = Parameters::new(&plastics, specular);
        let observe = |s: &MeasuredStep| Observation::new(s.shares, s.colour.xyz().to_lab());
        let is_mixed = |i: &usize| steps[*i].alone().is_none();
        Self {
            parameters,
            plastics,
            off_list,
            alone: counts,
            observations: steps.iter().map(observe).collect(),
            mixed: (0..steps.len()).filter(is_mixed).collect(),
            spools,
        }
    }

    fn of(&self, steps: &[usize]) -> Vec<Observation> {
        steps.iter().map(|i| self.observations[*i]).collect()
    }

    fn solve(&self, steps: &[usize], noise: f64, starts: &[Vec<f64>]) -> Option<Solution> {
        self.task(&self.of(steps), noise).solve(starts)
    }

    fn task<'a>(&'a self, observations: &'a [Observation], noise: f64) -> Task<'a> {
        Task {
            parameters: &self.parameters,
            plastics: &self.plastics,
            observations,
            noise,
        }
    }

    /// ΔE00 of each of some steps under fitted values.
    fn differences(&self, values: &[f64], steps: &[usize]) -> Vec<f64> {
        let model = self.parameters.model(&self.plastics, values);
        let off = |o: Observation| ciede2000(o.measured, model.mix(&o.shares).to_lab());
        self.of(steps).into_iter().map(off).collect()
    }

    /// How badly all steps fit: RMS ΔE00 of the mixed ones, and of the spools alone as far as
    /// they are further off their listed colours than lists are rough.
    fn misfit(&self) -> Option<f64> {
        let solution = self.solve(&self.mixed, USUAL_NOISE, &[self.parameters.usual()])?;
        let mut all = self.differences(&solution.values, &self.mixed);
        let beyond = |off: &f64| (off - LISTED_ROUGHLY).max(0.0);
        all.extend(self.off_list.iter().flatten().map(beyond));
        Some(rms(&all))
    }

    /// Fits, looks for the step furthest from what the others say, and leaves it out if it is
    /// much further than the rest; again, while enough steps remain.
    fn without_outliers(&self) -> Option<Fitted> {
        let mut left_out = Vec::new();
        let most_left_out = self.mixed.len() / 5;
        loop {
            let kept = self.mixed.iter().copied().filter(|i| !left_out.contains(i));
            let fitted = self.fit_to(kept.collect(), left_out.clone())?;
            match fitted.outlier() {
                Some(step) if left_out.len() < most_left_out => left_out.push(step),
                _ => return Some(fitted),
            }
        }
    }

    fn fit_to(&self, kept: Vec<usize>, left_out: Vec<usize>) -> Option<Fitted> {
        let starts = self.parameters.starts();
        let rough = self.solve(&kept, USUAL_NOISE, &starts)?;
        let noise = self.noise_of(&rough, &kept);
        let solution = self.solve(&kept, noise, &[rough.values])?;
        let differences = self.differences(&solution.values, &kept);
        let without = |i: usize| {
            let others: Vec<usize> = kept.iter().copied().filter(|k| *k != i).collect();
            let start = solution.values.clone();
            let values = self.solve(&others, noise, &[start])?.values;
            Some(Deleted {
                step: i,
                delta_e00: self.differences(&values, &[i]).first().copied()?,
                rms_of_others: rms(&self.differences(&values, &others)),
            })
        };
        let deleted = if kept.len() > 2 {
            kept.iter().map(|i| without(*i)).collect()
        } else {
            None
        };
        let observations = self.of(&kept);
        let covariance = self
            .task(&observations, noise)
            .covariance(&solution.values)?;
        let rows = covariance.row_iter();
        Some(Fitted {
            rms: rms(&differences),
            covariance: rows.map(|r| r.iter().copied().collect()).collect(),
            values: solution.values,
            kept,
            left_out,
            deleted,
            noise,
        })
    }

    /// Scatter of the steps about a fit, ΔE00 in each of the three directions, with what the
    /// fitted numbers have swallowed of it given back.
    fn noise_of(&self, solution: &Solution, kept: &[usize]) -> f64 {
        let differences = self.differences(&solution.values, kept);
        let sum: f64 = differences.iter().map(|d| d * d).sum();
        let spare = (3 * kept.len())
            .saturating_sub(self.parameters.count())
            .max(1);
        (sum / spare as f64).sqrt().max(LEAST_NOISE)
    }

    /// The same steps with the reading of one spool alone moved by its own error in one of
    /// the three directions, and the fitted values that they give.
    fn values_with_spool_moved(
        &self,
        spool: usize,
        axis: usize,
        fitted: &Fitted,
    ) -> Option<Vec<f64>> {
        let readings = self.alone[spool];
        if readings == 0 {
            return None;
        }
        let by = fitted.noise / (readings as f64).sqrt();
        let colour = self.spools[spool].xyz().to_lab();
        let moved = LocalMetric::at(colour).moved(axis, by)?;
        let mut plastics = self.plastics.clone();
        plastics[spool] = Plastic::of_spool(&Spool {
            colour: SpoolColour::Lab(moved),
            ..self.spools[spool].clone()
        });
        let observations = self.of(&fitted.kept);
        let task = Task {
            plastics: &plastics,
            ..self.task(&observations, fitted.noise)
        };
        Some(task.solve(std::slice::from_ref(&fitted.values))?.values)
    }

    /// Standard error of each tinting strength as a share of it: from the scatter of the mixed
    /// steps, and from that of the readings of the spools alone.
    fn strength_errors(&self, fitted: &Fitted) -> Vec<f64> {
        let mut variances: Vec<f64> = vec![0.0];
        let own = fitted.covariance.iter().enumerate();
        variances.extend(own.take(self.spools.len() - 1).map(|(i, row)| row[i]));
        for spool in 0..self.spools.len() {
            for axis in 0..3 {
                let moved = self.values_with_spool_moved(spool, axis, fitted);
                let Some(moved) = moved else { continue };
                let both = moved.iter().zip(&fitted.values);
                for (variance, (m, f)) in variances.iter_mut().skip(1).zip(both) {
                    *variance += (m - f).powi(2);
                }
            }
        }
        variances.into_iter().map(|v| v.max(0.0).sqrt()).collect()
    }

    fn warnings(&self, listed: &[Spool]) -> Vec<Warning> {
        let mut warnings = Vec::new();
        let wanted = wanted_steps(listed.len());
        if self.mixed.len() < wanted {
            warnings.push(Warning::TooFewSteps {
                mixed: self.mixed.len(),
                wanted,
            });
        }
        for (i, spool) in listed.iter().enumerate() {
            let spool = spool.name.clone();
            match self.off_list[i] {
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
            if !self.of(&self.mixed).into_iter().any(has_it) {
                warnings.push(Warning::NeverMixed { spool });
            }
        }
        warnings
    }
}

/// A fit to the mixed steps that belong.
struct Fitted {
    values: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    kept: Vec<usize>,
    left_out: Vec<usize>,
    /// For each kept step, how it looks from a fit to the others.
    deleted: Option<Vec<Deleted>>,
    rms: f64,
    /// Scatter of the steps, ΔE00 in each of the three directions.
    noise: f64,
}

/// A step seen from a fit to the others.
struct Deleted {
    step: usize,
    delta_e00: f64,
    rms_of_others: f64,
}

impl Fitted {
    /// The step that is furthest from what the others say, measured by how well they agree
    /// without it, if that is much further than chance puts it.
    fn outlier(&self) -> Option<usize> {
        const TIMES: f64 = 5.0;
        // An instrument and a print scatter by as much.
        const SCATTER: f64 = 0.5;
        let off = |d: &Deleted| d.delta_e00 / d.rms_of_others.max(SCATTER);
        let all = self.deleted.as_ref()?.iter();
        let worst = all.max_by(|a, b| off(a).total_cmp(&off(b)))?;
        (off(worst) > TIMES).then_some(worst.step)
    }

    fn leave_one_out_of(&self, step: usize) -> Option<f64> {
        let mut all = self.deleted.as_ref()?.iter();
        all.find(|d| d.step == step).map(|d| d.delta_e00)
    }

    fn leave_one_out_rms(&self) -> Option<f64> {
        let all: Vec<f64> = self.deleted.as_ref()?.iter().map(|d| d.delta_e00).collect();
        Some(rms(&all))
    }

    fn warnings(&self, sorted: &Sorted) -> Vec<Warning> {
        const ODD_STRENGTH: f64 = 8.0;
        const POOR: f64 = 3.0;
        let mut warnings = Vec::new();
        let off = sorted.differences(&self.values, &self.left_out);
        for (i, delta_e00) in self.left_out.iter().zip(off) {
            warnings.push(Warning::LeftOut {
                step: i + 1,
                delta_e00,
            });
        }
        let strengths = sorted.parameters.strengths(&self.values);
        for (spool, strength) in sorted.spools.iter().zip(strengths) {
            if !(1.0 / ODD_STRENGTH..=ODD_STRENGTH).contains(&strength) {
                warnings.push(Warning::OddStrength {
                    spool: spool.name.clone(),
                    strength,
                });
            }
        }
        if self.rms > POOR {
            warnings.push(Warning::PoorFit {
                rms_delta_e00: self.rms,
            });
        }
        warnings
    }
}

fn document(
    measurements: &Measurements,
    sorted: &Sorted,
    fitted: &Fitted,
    warnings: Vec<Warning>,
) -> MeasuredSpools {
    let model = sorted.parameters.model(&sorted.plastics, &fitted.values);
    let linear = LinearLight::new(&sorted.spools);
    let kept = sorted.of(&fitted.kept);
    let off_linear = |o: &Observation| ciede2000(o.measured, linear.mix(&o.shares).to_lab());
    let linear: Vec<f64> = kept.iter().map(off_linear).collect();
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
        spools: sorted.spools.clone(),
        strengths: sorted.parameters.strengths(&fitted.values),
        strength_errors: sorted.strength_errors(fitted),
        surface: sorted.parameters.surface(&fitted.values),
        specular: measurements.specular,
        covariance: fitted.covariance.clone(),
        rms_delta_e00: fitted.rms,
        leave_one_out_rms_delta_e00: fitted.leave_one_out_rms(),
        linear_light_rms_delta_e00: rms(&linear),
        steps: measurements.steps.iter().enumerate().map(result).collect(),
        warnings,
        provenance: measurements.provenance.clone(),
    }
}

fn mean(colours: &[Lab]) -> Option<Lab> {
    let count = colours.len() as f64;
    (!colours.is_empty()).then(|| Lab {
        l: colours.iter().map(|c| c.l).sum::<f64>() / count,
        a: colours.iter().map(|c| c.a).sum::<f64>() / count,
        b: colours.iter().map(|c| c.b).sum::<f64>() / count,
    })
}

fn rms(values: &[f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}
