//! The measured spools: what a fit found, as a document that plans refer to.

use serde::{Deserialize, Serialize};

use super::{MeasuredStep, Specular, Warning};
use crate::mix::Saunderson;
use crate::{Lab, MAX_COMPONENTS, Spool};

/// Version of the document that this program writes, and the only one it reads.
pub const VERSION: u32 = 1;

/// Measured spools: colours, tinting strengths and surface as fitted, how sure they are, and
/// the readings they come from.
///
/// Reading one from a file checks it; see [`MeasuredSpools::check`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct MeasuredSpools {
    /// Version of this format.
    pub version: u32,
    /// The spools. One that was measured alone has the colour that was measured.
    pub spools: Vec<Spool>,
    /// Tinting strength of each spool; the first one's is 1.
    pub strengths: Vec<f64>,
    /// Standard error of each strength as a share of it, with the scatter of the readings of
    /// the spools alone counted in.
    pub strength_errors: Vec<f64>,
    /// Reflection at the surface.
    pub surface: Saunderson,
    /// Whether the readings take in the gloss.
    pub specular: Specular,
    /// Covariance of the fitted numbers, in this order: the natural logarithm of each
    /// strength from the second on, k2, and k1 where the readings take in the gloss. It holds
    /// for the spools' colours as measured; with other colours other strengths fit, and the
    /// blends between come out much the same.
    pub covariance: Vec<Vec<f64>>,
    /// Root of the mean squared ΔE00 between prediction and reading, over the mixed steps that
    /// the fit goes by.
    pub rms_delta_e00: f64,
    /// The same with each step predicted from a fit to the others: what to expect of a blend
    /// that was not measured. Absent with too few steps.
    pub leave_one_out_rms_delta_e00: Option<f64>,
    /// The same for plain mixing in linear light, for comparison.
    pub linear_light_rms_delta_e00: f64,
    /// Every step that was measured.
    pub steps: Vec<StepResult>,
    /// Doubts.
    pub warnings: Vec<Warning>,
    /// Where the readings come from.
    pub provenance: Provenance,
}

/// One step, as measured and as predicted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepResult {
    /// What was told and what was read.
    pub step: MeasuredStep,
    /// The reading as CIELAB.
    pub measured: Lab,
    /// What the fit predicts.
    pub predicted: Lab,
    /// The difference of the two.
    pub delta_e00: f64,
    /// The difference if the fit does without this step; for a mixed step only.
    pub leave_one_out_delta_e00: Option<f64>,
    /// Whether the fit goes without this step because it doesn't belong.
    pub left_out: bool,
}

/// Where readings come from, so that every number can be traced. Nothing here is worked with.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Provenance {
    /// Name of the file with the readings.
    pub file: String,
    /// Its SHA-256, in hexadecimal digits.
    pub sha256: String,
    /// The day of measuring, in the user's words.
    pub measured_on: String,
    /// The instrument, in the user's words.
    pub instrument: String,
    /// Anything else worth knowing.
    pub note: String,
}

/// What is wrong with a document.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DocumentError {
    /// Another version.
    #[error(
        "these measured spools have format version {0}, and this program reads version \
         {VERSION}; fit the readings again with this program"
    )]
    Version(u32),
    /// Numbers that do not belong together.
    #[error("these measured spools are damaged: {0}; fit the readings again")]
    Damaged(&'static str),
}

#[derive(Deserialize)]
#[serde(rename = "MeasuredSpools", deny_unknown_fields)]
struct Written {
    version: u32,
    spools: Vec<Spool>,
    strengths: Vec<f64>,
    strength_errors: Vec<f64>,
    surface: Saunderson,
    specular: Specular,
    covariance: Vec<Vec<f64>>,
    rms_delta_e00: f64,
    leave_one_out_rms_delta_e00: Option<f64>,
    linear_light_rms_delta_e00: f64,
    steps: Vec<StepResult>,
    warnings: Vec<Warning>,
    provenance: Provenance,
}

impl TryFrom<Written> for MeasuredSpools {
    type Error = DocumentError;

    fn try_from(w: Written) -> Result<Self, DocumentError> {
        let document = Self {
            version: w.version,
            spools: w.spools,
            strengths: w.strengths,
            strength_errors: w.strength_errors,
            surface: w.surface,
            specular: w.specular,
            covariance: w.covariance,
            rms_delta_e00: w.rms_delta_e00,
            leave_one_out_rms_delta_e00: w.leave_one_out_rms_delta_e00,
            linear_light_rms_delta_e00: w.linear_light_rms_delta_e00,
            steps: w.steps,
            warnings: w.warnings,
            provenance: w.provenance,
        };
        document.check()?;
        Ok(document)
    }
}

impl MeasuredSpools {
    /// Looks for numbers that do not belong together.
    ///
    /// # Errors
    /// [`DocumentError`], in words.
    pub fn check(&self) -> Result<(), DocumentError> {
        if self.version != VERSION {
            return Err(DocumentError::Version(self.version));
        }
        let damaged = |what| Err(DocumentError::Damaged(what));
        let spools = self.spools.len();
        if spools == 0 || spools > MAX_COMPONENTS {
            return damaged("there must be 1 to 8 spools");
        }
        if self.strengths.len() != spools {
            return damaged("there must be one tinting strength for each spool");
        }
        if !self.strengths.iter().all(|s| s.is_finite() && *s > 0.0) {
            return damaged("each tinting strength must be a number above 0");
        }
        if self.strength_errors.len() != spools {
            return damaged("there must be one error of a strength for each spool");
        }
        let size = self.parameter_count();
        let square = |rows: &[Vec<f64>]| rows.len() == size && rows.iter().all(|r| r.len() == size);
        if !square(&self.covariance) || !self.covariance.iter().flatten().all(|v| v.is_finite()) {
            return damaged("the covariance must have a row and a column for each fitted number");
        }
        if self.steps.iter().any(|s| s.step.shares.count() != spools) {
            return damaged("each step must have one share for each spool");
        }
        let misfits = [self.rms_delta_e00, self.linear_light_rms_delta_e00];
        if !misfits.iter().all(|m| m.is_finite() && *m >= 0.0) {
            return damaged("the misfits must be numbers of 0 or more");
        }
        Ok(())
    }

    /// How many numbers were fitted: a strength for each spool but the first, k2, and k1 where
    /// the readings take in the gloss.
    pub(super) fn parameter_count(&self) -> usize {
        self.spools.len() + usize::from(self.specular == Specular::Included)
    }
}
