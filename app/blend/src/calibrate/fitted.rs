//! A model of one family fitted to the steps that belong, and how each step looks from it.

use nalgebra::DMatrix;

use super::family::{Family, Numbers};
use super::least_squares::{Observation, Solution, Task};
use super::parameters::Parameters;
use super::sorted::{Sorted, rms};
use crate::mix::Plastic;

/// Scatter of a hand instrument's readings on printed plastic, ΔE00 in each of the three
/// directions: where the fit starts from (common practice, no source).
const USUAL_NOISE: f64 = 0.5;

/// Scatter is never taken to be below this: no print and no instrument repeats better.
pub(super) const LEAST_NOISE: f64 = 0.05;

/// Listed colours are taken to be this rough, ΔE00.
pub(super) const LISTED_ROUGHLY: f64 = 8.0;

/// A fit to the mixed steps that belong.
pub(super) struct Fitted {
    parameters: Parameters,
    pub values: Vec<f64>,
    pub kept: Vec<usize>,
    pub left_out: Vec<usize>,
    /// For each kept step, how it looks from a fit to the others.
    pub deleted: Option<Vec<Deleted>>,
    pub rms: f64,
    /// Scatter of the steps about the fit, ΔE00 in each of the three directions.
    pub noise: f64,
}

/// A step seen from a fit to the others.
pub(super) struct Deleted {
    pub step: usize,
    pub delta_e00: f64,
    rms_of_others: f64,
}

/// How badly all steps fit one family: RMS ΔE00 of the mixed ones, and of the spools alone as
/// far as they are further off their listed colours than lists are rough.
pub(super) fn misfit(sorted: &Sorted, family: Family) -> Option<f64> {
    let mut all = misfits_of_mixed(sorted, family)?;
    let beyond = |off: &f64| (off - LISTED_ROUGHLY).max(0.0);
    all.extend(sorted.off_list.iter().flatten().map(beyond));
    Some(rms(&all))
}

/// ΔE00 of each mixed step from the family's best fit to all of them.
pub(super) fn misfits_of_mixed(sorted: &Sorted, family: Family) -> Option<Vec<f64>> {
    let parameters = Parameters::new(&sorted.plastics, sorted.specular, family);
    let observations = sorted.of(&sorted.mixed);
    let task = Task {
        parameters: &parameters,
        plastics: &sorted.plastics,
        observations: &observations,
        noise: USUAL_NOISE,
    };
    let solution = task.solve(&[parameters.usual()])?;
    let model = parameters.numbers(&solution.values).model(&sorted.plastics);
    Some(sorted.differences(&model, &sorted.mixed))
}

impl Fitted {
    /// Fits, looks for the step furthest from what the others say, and leaves it out if it is
    /// much further than the rest; again, while enough steps remain.
    pub(crate) fn without_outliers(sorted: &Sorted, family: Family) -> Option<Self> {
        let mut left_out = Vec::new();
        let most_left_out = sorted.mixed.len() / 5;
        loop {
            let fitted = Self::to(sorted, family, left_out.clone())?;
            match fitted.outlier() {
                Some(step) if left_out.len() < most_left_out => left_out.push(step),
                _ => return Some(fitted),
            }
        }
    }

    fn to(sorted: &Sorted, family: Family, left_out: Vec<usize>) -> Option<Self> {
        let mixed = sorted.mixed.iter().copied();
        let kept: Vec<usize> = mixed.filter(|i| !left_out.contains(i)).collect();
        let parameters = Parameters::new(&sorted.plastics, sorted.specular, family);
        let solve = |steps: &[usize], noise: f64, starts: &[Vec<f64>]| -> Option<Solution> {
            let observations = sorted.of(steps);
            let task = Task {
                parameters: &parameters,
                plastics: &sorted.plastics,
                observations: &observations,
                noise,
            };
            task.solve(starts)
        };
        let off = |values: &[f64], steps: &[usize]| {
            let model = parameters.numbers(values).model(&sorted.plastics);
            sorted.differences(&model, steps)
        };
        let rough = solve(&kept, USUAL_NOISE, &parameters.starts())?;
        let noise = scatter(&off(&rough.values, &kept), parameters.count());
        let solution = solve(&kept, noise, &[rough.values])?;
        let without = |i: usize| {
            let others: Vec<usize> = kept.iter().copied().filter(|k| *k != i).collect();
            let values = solve(&others, noise, std::slice::from_ref(&solution.values))?.values;
            Some(Deleted {
                step: i,
                delta_e00: off(&values, &[i]).first().copied()?,
                rms_of_others: rms(&off(&values, &others)),
            })
        };
        let deleted = if kept.len() > 2 {
            kept.iter().map(|i| without(*i)).collect()
        } else {
            None
        };
        Some(Self {
            rms: rms(&off(&solution.values, &kept)),
            values: solution.values,
            kept,
            left_out,
            deleted,
            noise,
            parameters,
        })
    }

    pub(super) fn numbers(&self) -> Numbers {
        self.parameters.numbers(&self.values)
    }

    /// Covariance of the values for readings that scatter by so much in each direction.
    pub(super) fn covariance(&self, sorted: &Sorted, noise: f64) -> Option<DMatrix<f64>> {
        let observations = sorted.of(&self.kept);
        self.task(&sorted.plastics, &observations, noise)
            .covariance(&self.values)
    }

    /// The values that the same steps give with other plastics, near to these ones.
    pub(crate) fn values_with(&self, sorted: &Sorted, plastics: &[Plastic]) -> Option<Vec<f64>> {
        let observations = sorted.of(&self.kept);
        let task = self.task(plastics, &observations, self.noise);
        Some(task.solve(std::slice::from_ref(&self.values))?.values)
    }

    pub(crate) fn numbers_of(&self, values: &[f64]) -> Numbers {
        self.parameters.numbers(values)
    }

    fn task<'a>(
        &'a self,
        plastics: &'a [Plastic],
        observations: &'a [Observation],
        noise: f64,
    ) -> Task<'a> {
        Task {
            parameters: &self.parameters,
            plastics,
            observations,
            noise,
        }
    }

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

    pub(crate) fn leave_one_out_of(&self, step: usize) -> Option<f64> {
        let mut all = self.deleted.as_ref()?.iter();
        all.find(|d| d.step == step).map(|d| d.delta_e00)
    }

    pub(crate) fn leave_one_out_rms(&self) -> Option<f64> {
        let all: Vec<f64> = self.deleted.as_ref()?.iter().map(|d| d.delta_e00).collect();
        Some(rms(&all))
    }
}

/// Scatter of steps about a fit, ΔE00 in each of the three directions, with what the fitted
/// numbers have swallowed of it given back.
fn scatter(differences: &[f64], fitted: usize) -> f64 {
    let sum: f64 = differences.iter().map(|d| d * d).sum();
    let spare = (3 * differences.len()).saturating_sub(fitted).max(1);
    (sum / spare as f64).sqrt().max(LEAST_NOISE)
}
