//! How far what was seen is from what a cause makes.
//!
//! The spools are not quite of the colours that the plan says, nor is the chamber quite as
//! large; and readings of one photograph are off together. All of these would make any print look
//! faulty, so they are free within what is usual, and what is counted is what they leave:
//! generalised least squares with their part of the covariance taken in (G. Seber, C. Wild,
//! *Nonlinear Regression*, 1989, from memory).

use nalgebra::DMatrix;

use super::Fault;
use super::forward::{Made, Print, Setting, What};
use super::whole::off_whole;

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
        let made = self.made_by(faults, Setting::AS_SET);
        let off = self.off(&made);
        let squares: f64 = off.iter().map(|v| v * v).sum();
        let left = match squares.is_finite() {
            true => self.left(faults, &made, &off).unwrap_or(squares),
            false => f64::INFINITY,
        };
        let stands = match self.is_photographed {
            true => off_whole(&made).powi(2),
            false => 0.0,
        };
        Misfit {
            squares: left + stands,
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

    /// rᵀ(C + JJᵀ)⁻¹r = rᵀC⁻¹r − rᵀC⁻¹J(1 + JᵀC⁻¹J)⁻¹JᵀC⁻¹r, with J the slopes by what is usually
    /// off, and C the covariance that readings have by themselves and share.
    fn left(&self, faults: &[Fault], made: &[Made], off: &[f64]) -> Option<f64> {
        let slopes = self.slopes(faults, made, off);
        let off = DMatrix::from_column_slice(off.len(), 1, off);
        let mut inner = self.shared.product(&slopes, &slopes);
        for i in 0..inner.nrows() {
            inner[(i, i)] += 1.0;
        }
        let along = self.shared.product(&slopes, &off);
        let alone = self.shared.product(&off, &off);
        let solved = inner.cholesky()?.solve(&along);
        Some((alone.sum() - along.dot(&solved)).max(0.0))
    }

    /// Slopes of what is off, each for one usual error of a spool's colour, of the chamber, or of
    /// the heights.
    fn slopes(&self, faults: &[Fault], made: &[Made], off: &[f64]) -> DMatrix<f64> {
        let spools = self.drives();
        let chamber = 3 * spools;
        let heights = usize::from(self.height_error_mm > 0.0);
        let mut slopes = DMatrix::zeros(off.len(), chamber + 1 + heights);
        let mut row = 0;
        for (look, made) in self.looks.iter().zip(made) {
            match (&look.what, made) {
                (What::Colour { metric, lab, .. }, Made::Colour { shares, .. }) => {
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
        let mut felt = |column: usize, setting: Setting, usual: f64| {
            let moved = self.off(&self.made_by(faults, setting));
            for (i, (moved, off)) in moved.iter().zip(off).enumerate() {
                slopes[(i, column)] = (moved - off) * usual;
            }
        };
        let larger = Setting {
            chamber_scale: STEP.exp(),
            ..Setting::AS_SET
        };
        felt(chamber, larger, CHAMBER_OFF / STEP);
        if heights > 0 {
            let raised = Setting {
                raised_mm: self.height_error_mm,
                ..Setting::AS_SET
            };
            felt(chamber + 1, raised, 1.0);
        }
        slopes
    }
}
