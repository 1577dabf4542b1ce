//! A fit that has come to rest, and how each step looks from it.

use super::Warning;
use super::sorted::{Sorted, rms};

/// A fit to the mixed steps that belong.
pub(super) struct Fitted {
    pub values: Vec<f64>,
    pub covariance: Vec<Vec<f64>>,
    pub kept: Vec<usize>,
    pub left_out: Vec<usize>,
    /// For each kept step, how it looks from a fit to the others.
    pub deleted: Option<Vec<Deleted>>,
    pub rms: f64,
    /// Scatter of the steps, ΔE00 in each of the three directions.
    pub noise: f64,
}

/// A step seen from a fit to the others.
pub(super) struct Deleted {
    pub step: usize,
    pub delta_e00: f64,
    pub rms_of_others: f64,
}

impl Fitted {
    /// The step that is furthest from what the others say, measured by how well they agree
    /// without it, if that is much further than chance puts it.
    pub fn outlier(&self) -> Option<usize> {
        const TIMES: f64 = 5.0;
        // An instrument and a print scatter by as much.
        const SCATTER: f64 = 0.5;
        let off = |d: &Deleted| d.delta_e00 / d.rms_of_others.max(SCATTER);
        let all = self.deleted.as_ref()?.iter();
        let worst = all.max_by(|a, b| off(a).total_cmp(&off(b)))?;
        (off(worst) > TIMES).then_some(worst.step)
    }

    pub fn leave_one_out_of(&self, step: usize) -> Option<f64> {
        let mut all = self.deleted.as_ref()?.iter();
        all.find(|d| d.step == step).map(|d| d.delta_e00)
    }

    pub fn leave_one_out_rms(&self) -> Option<f64> {
        let all: Vec<f64> = self.deleted.as_ref()?.iter().map(|d| d.delta_e00).collect();
        Some(rms(&all))
    }

    pub fn warnings(&self, sorted: &Sorted) -> Vec<Warning> {
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
