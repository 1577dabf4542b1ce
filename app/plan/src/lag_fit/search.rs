//! Least squares for the fit to colours.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, storage::Owned};

use super::task::Task;
use crate::machine::Chamber;

/// The best values from a chamber to begin with, and their cost.
pub(super) fn solve(task: &Task<'_>, from: [f64; 2]) -> Option<(DVector<f64>, f64)> {
    search(task, from, Free::All)
}

/// The best values with a chamber that stays as it is.
pub(super) fn with_chamber(task: &Task<'_>, chamber: &Chamber) -> Option<DVector<f64>> {
    let volumes = [chamber.dead_mm3, chamber.mixed_mm3];
    search(task, volumes, Free::ButVolumes).map(|(values, _)| values)
}

/// What may move in a search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Free {
    /// Every value.
    All,
    /// All but dead and mixed volume.
    ButVolumes,
}

fn search(task: &Task<'_>, from: [f64; 2], free: Free) -> Option<(DVector<f64>, f64)> {
    let mut roots = task.usual(from[0], from[1]);
    for i in 0..2 {
        roots[i] = roots[i].max(0.0).sqrt();
    }
    let problem = Problem { task, roots, free };
    let (problem, report) = LevenbergMarquardt::new()
        .with_tol(1e-8)
        .with_patience(12)
        .minimize(problem);
    let values = problem.values();
    let sound = report.objective_function.is_finite() && values.iter().all(|v| v.is_finite());
    sound.then_some((values, report.objective_function))
}

/// The search in free numbers: the roots of the volumes, so that these stay above 0, and the
/// other values as they are.
struct Problem<'a> {
    task: &'a Task<'a>,
    roots: DVector<f64>,
    free: Free,
}

impl Problem<'_> {
    fn values(&self) -> DVector<f64> {
        let mut values = self.roots.clone();
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

    fn set_params(&mut self, roots: &DVector<f64>) {
        self.roots.copy_from(roots);
    }

    fn params(&self) -> DVector<f64> {
        self.roots.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.task.residuals(&self.values()))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let mut slopes = self.task.slopes(&self.values());
        for i in 0..2 {
            let chain = match self.free {
                Free::All => 2.0 * self.roots[i],
                Free::ButVolumes => 0.0,
            };
            slopes.column_mut(i).scale_mut(chain);
        }
        Some(slopes)
    }
}
