//! Bounded least squares over the steps of a test print.
//!
//! The optimiser is the Levenberg–Marquardt of MINPACK (J. J. Moré, 1978) in the crate
//! `levenberg-marquardt`. It knows no bounds, so each parameter is written as a smooth
//! function, tanh, of a free one that stays inside its bounds.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, storage::Owned};

use super::parameters::Parameters;
use crate::colour::LocalMetric;
use crate::mix::{MixModel, Plastic};
use crate::{Lab, Shares};

/// A step that the fit goes by.
#[derive(Clone, Copy, Debug)]
pub(super) struct Observation {
    pub shares: Shares,
    pub measured: Lab,
    metric: LocalMetric,
}

impl Observation {
    pub(super) fn new(shares: Shares, measured: Lab) -> Self {
        Self {
            shares,
            measured,
            metric: LocalMetric::at(measured),
        }
    }

    /// How far a prediction is from it, ΔE00 in three directions.
    pub(super) fn misfit(&self, predicted: Lab) -> [f64; 3] {
        self.metric.difference(predicted)
    }
}

/// All that a fit goes by.
pub(super) struct Task<'a> {
    pub parameters: &'a Parameters,
    pub plastics: &'a [Plastic],
    pub observations: &'a [Observation],
    /// Standard error of one of the three numbers of a reading, ΔE00.
    pub noise: f64,
}

/// Where a fit came to rest.
pub(super) struct Solution {
    pub values: Vec<f64>,
    /// Half the sum of squares, in units of the noise.
    cost: f64,
}

impl Task<'_> {
    /// The best fit from any of several starts; `None` if none comes to rest.
    pub(super) fn solve(&self, starts: &[Vec<f64>]) -> Option<Solution> {
        starts
            .iter()
            .filter_map(|start| self.solve_from(start))
            .min_by(|a, b| a.cost.total_cmp(&b.cost))
    }

    fn solve_from(&self, start: &[f64]) -> Option<Solution> {
        let free = self.to_free(start);
        let problem = Problem { task: self, free };
        let (problem, report) = LevenbergMarquardt::new()
            .with_tol(1e-10)
            .with_patience(40)
            .minimize(problem);
        let values = self.to_values(&problem.free);
        let sound = report.objective_function.is_finite() && values.iter().all(|v| v.is_finite());
        sound.then_some(Solution {
            values,
            cost: report.objective_function,
        })
    }

    /// Differences of the steps in units of the noise, then of the parameters from their
    /// usual values in units of their give.
    fn residuals(&self, values: &[f64]) -> DVector<f64> {
        let model = self.parameters.numbers(values).model(self.plastics);
        let steps = self.observations.iter().flat_map(|o| {
            let predicted = model.mix(&o.shares).to_lab();
            o.misfit(predicted).map(|d| d / self.noise)
        });
        let usual = values.iter().zip(self.parameters.each());
        let usual = usual.map(|(v, p)| (v - p.usual) / p.give);
        let length = 3 * self.observations.len() + values.len();
        DVector::from_iterator(length, steps.chain(usual))
    }

    /// Derivatives of the residuals by central differences; `moved` gives the values with one
    /// of the parameters moved.
    fn slopes(&self, moved: impl Fn(usize, f64) -> Vec<f64>) -> DMatrix<f64> {
        const STEP: f64 = 1e-5;
        let columns: Vec<DVector<f64>> = (0..self.parameters.count())
            .map(|i| {
                let more = self.residuals(&moved(i, STEP));
                let less = self.residuals(&moved(i, -STEP));
                (more - less) / (2.0 * STEP)
            })
            .collect();
        DMatrix::from_columns(&columns)
    }

    /// The covariance of the values, from the slopes at the solution.
    pub(super) fn covariance(&self, values: &[f64]) -> Option<DMatrix<f64>> {
        let slopes = self.slopes(|i, step| {
            let mut moved = values.to_vec();
            moved[i] += step;
            moved
        });
        Some((slopes.transpose() * slopes).cholesky()?.inverse())
    }

    fn to_free(&self, values: &[f64]) -> DVector<f64> {
        let all = values.iter().zip(self.parameters.each()).map(|(v, p)| {
            let (low, high) = p.bounds;
            let within = (2.0 * (v - low) / (high - low) - 1.0).clamp(-0.98, 0.98);
            within.atanh()
        });
        DVector::from_iterator(values.len(), all)
    }

    fn to_values(&self, free: &DVector<f64>) -> Vec<f64> {
        let all = free.iter().zip(self.parameters.each()).map(|(f, p)| {
            let (low, high) = p.bounds;
            low + (high - low) * (f.tanh() + 1.0) / 2.0
        });
        all.collect()
    }
}

struct Problem<'a> {
    task: &'a Task<'a>,
    free: DVector<f64>,
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
        Some(self.task.residuals(&self.task.to_values(&self.free)))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.task.slopes(|i, step| {
            let mut moved = self.free.clone();
            moved[i] += step;
            self.task.to_values(&moved)
        }))
    }
}
