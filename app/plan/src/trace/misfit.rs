//! How far what was seen is from what a cause makes.
//!
//! The spools are not quite of the colours that the plan says, nor is the chamber quite as
//! large. Both would make any print look faulty, so they are free within what is usual, and
//! what is counted is what they leave: generalised least squares with their part of the
//! covariance taken in (G. Seber, C. Wild, *Nonlinear Regression*, 1989, from memory).

use nalgebra::{DMatrix, DVector};

use super::Fault;
use super::forward::{Made, Print, What};

/// How far a spool's colour usually is from what the plan says, along each axis of CIELAB
/// (our assumption, no source).
const SPOOL_OFF: f64 = 0.9;
/// How far the chamber's volumes usually are from the machine file, as a natural logarithm (our
/// assumption, no source).
const CHAMBER_OFF: f64 = 0.12;
/// A step of that by which its effect is felt.
const STEP: f64 = 0.06;

/// Sum of squares in usual errors, and how many numbers that is of.
#[derive(Clone, Copy, Debug)]
pub(super) struct Misfit {
    pub squares: f64,
    pub count: usize,
}

impl Misfit {
    /// In usual errors, root mean square.
    pub(super) fn rms(&self) -> f64 {
        (self.squares / self.count.max(1) as f64).sqrt()
    }
}

impl Print<'_> {
    /// What faults leave unexplained.
    pub(super) fn misfit(&self, faults: &[Fault]) -> Misfit {
        let made = self.made_by(faults, 1.0);
        let off = self.off(&made);
        let squares: f64 = off.iter().map(|v| v * v).sum();
        let left = match squares.is_finite() {
            true => self.left(faults, &made, &off).unwrap_or(squares),
            false => f64::INFINITY,
        };
        Misfit {
            squares: left,
            count: off.len(),
        }
    }

    fn off(&self, made: &[Made]) -> Vec<f64> {
        let mut off = Vec::with_capacity(3 * self.looks.len());
        for (look, made) in self.looks.iter().zip(made) {
            look.off(made, &mut off);
        }
        off
    }

    /// rᵀ(1 + JPJᵀ)⁻¹r = rᵀr − rᵀJ(P⁻¹ + JᵀJ)⁻¹Jᵀr, with J the slopes by what is usually off and
    /// P its variances.
    fn left(&self, faults: &[Fault], made: &[Made], off: &[f64]) -> Option<f64> {
        let slopes = self.slopes(faults, made, off);
        let off = DVector::from_column_slice(off);
        let mut inner = slopes.transpose() * &slopes;
        for i in 0..inner.nrows() {
            inner[(i, i)] += 1.0;
        }
        let along = slopes.transpose() * &off;
        let solved = inner.cholesky()?.solve(&along);
        Some((off.dot(&off) - along.dot(&solved)).max(0.0))
    }

    /// Slopes of what is off, each for one usual error of a spool's colour or the chamber.
    fn slopes(&self, faults: &[Fault], made: &[Made], off: &[f64]) -> DMatrix<f64> {
        let spools = self.drives();
        let mut slopes = DMatrix::zeros(off.len(), 3 * spools + 1);
        let mut row = 0;
        for (look, made) in self.looks.iter().zip(made) {
            match (&look.what, made) {
                (What::Colour { metric, lab, .. }, Made::Colour(_, shares)) => {
                    let error = look.error / 3f64.sqrt();
                    for axis in 0..3 {
                        let mut moved = *lab;
                        match axis {
                            0 => moved.l += SPOOL_OFF,
                            1 => moved.a += SPOOL_OFF,
                            _ => moved.b += SPOOL_OFF,
                        }
                        let felt = metric.difference(moved);
                        for (spool, share) in shares.as_slice().iter().take(spools).enumerate() {
                            for (i, felt) in felt.iter().enumerate() {
                                slopes[(row + i, 3 * spool + axis)] = share * felt / error;
                            }
                        }
                    }
                    row += 3;
                }
                _ => row += 1,
            }
        }
        let larger = self.off(&self.made_by(faults, STEP.exp()));
        for (i, (larger, off)) in larger.iter().zip(off).enumerate() {
            slopes[(i, 3 * spools)] = (larger - off) / STEP * CHAMBER_OFF;
        }
        slopes
    }
}
