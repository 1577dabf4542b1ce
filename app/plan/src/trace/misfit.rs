//! How far what was seen is from what a cause makes.
//!
//! The spools are not quite of the colours that the plan says, nor is the chamber quite as
//! large; and readings of one photograph are off together. All of these would make any print look
//! faulty, so they are free within what is usual, and what is counted is what they leave:
//! generalised least squares with their part of the covariance taken in (G. Seber, C. Wild,
//! *Nonlinear Regression*, 1989, from memory).

use nalgebra::{DMatrix, DVector};

use super::Fault;
use super::forward::{Look, Made, Print, Setting, What};

/// How far a spool's colour usually is from what the plan says, along each axis of CIELAB
/// (our assumption, no source).
const SPOOL_OFF: f64 = 0.9;
/// How far the chamber's volumes usually are from the machine file, as a natural logarithm (our
/// assumption, no source).
const CHAMBER_OFF: f64 = 0.12;
/// A step of that by which its effect is felt.
const STEP: f64 = 0.06;
/// Legendre polynomials along the height that what readings are off together is made of: 1 and the
/// next three (our assumption, no source).
const WAVES: usize = 4;

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

    /// Slopes of what is off, each for one usual error of a spool's colour, of the chamber, or of
    /// what readings are off together.
    fn slopes(&self, faults: &[Fault], made: &[Made], off: &[f64]) -> DMatrix<f64> {
        let spools = self.drives();
        let chamber = 3 * spools;
        let together = match self.systematic.is_none() {
            true => 0,
            false => 3 * WAVES + 1,
        };
        let mut slopes = DMatrix::zeros(off.len(), chamber + 1 + together);
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
                    if together > 0 {
                        self.off_together(look, &mut slopes, (row, chamber + 1));
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
        let raised_mm = self.systematic.height_mm;
        if raised_mm > 0.0 {
            let raised = Setting {
                raised_mm,
                ..Setting::AS_SET
            };
            felt(chamber + together, raised, 1.0);
        }
        slopes
    }

    /// What a colour feels of what all are off together: along each of its axes, by polynomials of
    /// the height whose squares come to the usual error in the mean.
    fn off_together(&self, look: &Look, slopes: &mut DMatrix<f64>, (row, column): (usize, usize)) {
        let along = 2.0 * look.height_mm / self.top_mm().max(1e-9) - 1.0;
        let waves = legendre(along.clamp(-1.0, 1.0));
        let mean: f64 = (0..WAVES).map(|k| 1.0 / (2 * k + 1) as f64).sum();
        let usual = self.systematic.colour_de00 / look.error / mean.sqrt();
        for axis in 0..3 {
            for (k, wave) in waves.iter().enumerate() {
                slopes[(row + axis, column + WAVES * axis + k)] = wave * usual;
            }
        }
    }
}

/// The first Legendre polynomials at a place from -1 to 1, by Bonnet's recursion (NIST Digital
/// Library of Mathematical Functions, 18.9.1; from memory).
fn legendre(x: f64) -> [f64; WAVES] {
    let mut p = [1.0, x, 0.0, 0.0];
    for k in 2..WAVES {
        let n = k as f64;
        p[k] = ((2.0 * n - 1.0) * x * p[k - 1] - (n - 1.0) * p[k - 2]) / n;
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;

    /// P2 and P3 in closed form.
    #[test]
    fn polynomials_are_those_of_the_handbook() {
        for x in [-1.0, -0.3, 0.0, 0.7, 1.0] {
            let [p0, p1, p2, p3] = legendre(x);
            assert_eq!((p0, p1), (1.0, x));
            assert!((p2 - (3.0 * x * x - 1.0) / 2.0).abs() < 1e-12);
            assert!((p3 - (5.0 * x.powi(3) - 3.0 * x) / 2.0).abs() < 1e-12);
        }
    }
}
