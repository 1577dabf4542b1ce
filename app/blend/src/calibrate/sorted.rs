//! The steps of a test print, sorted for a fit.

use super::fit::wanted_steps;
use super::fitted::{Deleted, Fitted};
use super::least_squares::{Observation, Solution, Task};
use super::parameters::Parameters;
use super::{MeasuredStep, Specular, Warning};
use crate::colour::LocalMetric;
use crate::mix::{MixModel, Plastic};
use crate::{Lab, Spool, SpoolColour, ciede2000};

/// Scatter of a hand instrument's readings on printed plastic, ΔE00 in each of the three
/// directions: where the fit starts from (common practice, no source).
const USUAL_NOISE: f64 = 0.5;

/// Scatter is never taken to be below this: no print and no instrument repeats better.
const LEAST_NOISE: f64 = 0.05;

/// Listed colours are taken to be this rough, ΔE00.
const LISTED_ROUGHLY: f64 = 8.0;

/// The steps sorted into those of one spool alone and those of several.
pub(super) struct Sorted {
    pub spools: Vec<Spool>,
    pub plastics: Vec<Plastic>,
    pub parameters: Parameters,
    /// For each spool measured alone, how far it is from the colour that it is listed with.
    pub off_list: Vec<Option<f64>>,
    /// For each spool, how many readings of it alone its colour comes from.
    pub alone: Vec<usize>,
    /// Every step's reading.
    pub observations: Vec<Observation>,
    /// Which steps are mixed.
    pub mixed: Vec<usize>,
}

impl Sorted {
    pub fn new(listed: &[Spool], steps: &[MeasuredStep], specular: Specular) -> Self {
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

    pub fn of(&self, steps: &[usize]) -> Vec<Observation> {
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
    pub fn differences(&self, values: &[f64], steps: &[usize]) -> Vec<f64> {
        let model = self.parameters.model(&self.plastics, values);
        let off = |o: Observation| ciede2000(o.measured, model.mix(&o.shares).to_lab());
        self.of(steps).into_iter().map(off).collect()
    }

    /// How badly all steps fit: RMS ΔE00 of the mixed ones, and of the spools alone as far as
    /// they are further off their listed colours than lists are rough.
    pub fn misfit(&self) -> Option<f64> {
        let solution = self.solve(&self.mixed, USUAL_NOISE, &[self.parameters.usual()])?;
        let mut all = self.differences(&solution.values, &self.mixed);
        let beyond = |off: &f64| (off - LISTED_ROUGHLY).max(0.0);
        all.extend(self.off_list.iter().flatten().map(beyond));
        Some(rms(&all))
    }

    /// Fits, looks for the step furthest from what the others say, and leaves it out if it is
    /// much further than the rest; again, while enough steps remain.
    pub fn without_outliers(&self) -> Option<Fitted> {
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
    pub fn strength_errors(&self, fitted: &Fitted) -> Vec<f64> {
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

    pub fn warnings(&self, listed: &[Spool]) -> Vec<Warning> {
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

fn mean(colours: &[Lab]) -> Option<Lab> {
    let count = colours.len() as f64;
    (!colours.is_empty()).then(|| Lab {
        l: colours.iter().map(|c| c.l).sum::<f64>() / count,
        a: colours.iter().map(|c| c.a).sum::<f64>() / count,
        b: colours.iter().map(|c| c.b).sum::<f64>() / count,
    })
}

pub(super) fn rms(values: &[f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}
