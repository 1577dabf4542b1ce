//! The measured spools: what a fit found, as a document that plans refer to.

use serde::{Deserialize, Serialize};

use super::family::Numbers;
use super::{MeasuredStep, Provenance, Specular, SpoolMoved, Tried, Warning};
use crate::mix::{Mixing, Saunderson};
use crate::{Lab, MAX_COMPONENTS, Spool};

/// Version of the document that this program writes.
pub const VERSION: u32 = 2;

/// The oldest version that it reads. Version 1 knew stirred spools only, and took all scatter of
/// the steps for that of a predicted colour.
pub const OLDEST_VERSION: u32 = 1;

/// Measured spools: colours, tinting strengths and surface as fitted, how sure they are, and
/// the readings they come from.
///
/// Reading one from a file checks it; see [`MeasuredSpools::check`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct MeasuredSpools {
    /// Version of this format; what is read from an older one has this one's.
    pub version: u32,
    /// The spools. One that was measured alone has the colour that was measured.
    pub spools: Vec<Spool>,
    /// How the spools meet in the strand: what predicts left-out steps best.
    pub mixing: Mixing,
    /// Strength of each spool, of its tint or, side by side, of its cover; the first one's is 1.
    pub strengths: Vec<f64>,
    /// Standard error of each strength as a share of it, with the scatter of the readings of
    /// the spools alone counted in.
    pub strength_errors: Vec<f64>,
    /// Reflection at the surface.
    pub surface: Saunderson,
    /// Whether the readings take in the gloss.
    pub specular: Specular,
    /// Covariance of the fitted numbers, in this order: the natural logarithm of each
    /// strength from the second on, k2, k1 where the readings take in the gloss, and the
    /// stirring or the natural logarithm of the exponent where one was fitted. It holds
    /// for the spools' colours as measured.
    pub covariance: Vec<Vec<f64>>,
    /// What the scatter of the readings of the spools alone adds to that.
    pub spools_moved: Vec<SpoolMoved>,
    /// Root of the mean squared ΔE00 of one reading from the colour read, if it can be told.
    pub reading_rms_delta_e00: Option<f64>,
    /// The same of the model from blends that were not measured, beyond what the errors of the
    /// numbers explain.
    pub model_rms_delta_e00: f64,
    /// Root of the mean squared ΔE00 between prediction and reading, over the mixed steps that
    /// the fit goes by.
    pub rms_delta_e00: f64,
    /// The same with each step predicted from a fit to the others: what to expect of a blend
    /// that was not measured. Absent with too few steps.
    pub leave_one_out_rms_delta_e00: Option<f64>,
    /// The same for plain mixing in linear light, for comparison.
    pub linear_light_rms_delta_e00: f64,
    /// What was tried.
    pub tried: Vec<Tried>,
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

/// What is wrong with a document.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DocumentError {
    /// Another version.
    #[error(
        "these measured spools have format version {0}, and this program reads versions \
         {OLDEST_VERSION} to {VERSION}; fit the readings again with it"
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
    #[serde(default)]
    mixing: Mixing,
    strengths: Vec<f64>,
    strength_errors: Vec<f64>,
    surface: Saunderson,
    specular: Specular,
    covariance: Vec<Vec<f64>>,
    #[serde(default)]
    spools_moved: Vec<SpoolMoved>,
    #[serde(default)]
    reading_rms_delta_e00: Option<f64>,
    /// Always there from version 2 on.
    #[serde(default = "unknown")]
    model_rms_delta_e00: f64,
    rms_delta_e00: f64,
    leave_one_out_rms_delta_e00: Option<f64>,
    linear_light_rms_delta_e00: f64,
    #[serde(default)]
    tried: Vec<Tried>,
    steps: Vec<StepResult>,
    warnings: Vec<Warning>,
    provenance: Provenance,
}

fn unknown() -> f64 {
    f64::NAN
}

impl TryFrom<Written> for MeasuredSpools {
    type Error = DocumentError;

    fn try_from(w: Written) -> Result<Self, DocumentError> {
        if !(OLDEST_VERSION..=VERSION).contains(&w.version) {
            return Err(DocumentError::Version(w.version));
        }
        let model_rms_delta_e00 = match w.version {
            1 => w.leave_one_out_rms_delta_e00.unwrap_or(w.rms_delta_e00),
            _ => w.model_rms_delta_e00,
        };
        let document = Self {
            version: VERSION,
            spools: w.spools,
            mixing: w.mixing,
            strengths: w.strengths,
            strength_errors: w.strength_errors,
            surface: w.surface,
            specular: w.specular,
            covariance: w.covariance,
            spools_moved: w.spools_moved,
            reading_rms_delta_e00: w.reading_rms_delta_e00,
            model_rms_delta_e00,
            rms_delta_e00: w.rms_delta_e00,
            leave_one_out_rms_delta_e00: w.leave_one_out_rms_delta_e00,
            linear_light_rms_delta_e00: w.linear_light_rms_delta_e00,
            tried: w.tried,
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
        match self.damage() {
            Some(what) => Err(DocumentError::Damaged(what)),
            None => Ok(()),
        }
    }

    fn damage(&self) -> Option<&'static str> {
        let spools = self.spools.len();
        let strengths =
            |all: &[f64]| all.len() == spools && all.iter().all(|s| s.is_finite() && *s > 0.0);
        let square = |rows: &[Vec<f64>], sizes: &[usize]| {
            sizes.contains(&rows.len()) && rows.iter().all(|r| r.len() == rows.len())
        };
        let misfits = [
            self.rms_delta_e00,
            self.linear_light_rms_delta_e00,
            self.model_rms_delta_e00,
            self.leave_one_out_rms_delta_e00.unwrap_or(0.0),
            self.reading_rms_delta_e00.unwrap_or(0.0),
        ];
        if spools == 0 || spools > MAX_COMPONENTS {
            Some("there must be 1 to 8 spools")
        } else if self.strengths.len() != spools {
            Some("there must be one tinting strength for each spool")
        } else if !strengths(&self.strengths) {
            Some("each tinting strength must be a number above 0")
        } else if self.strength_errors.len() != spools {
            Some("there must be one error of a strength for each spool")
        } else if !square(&self.covariance, &self.parameter_counts())
            || !self.covariance.iter().flatten().all(|v| v.is_finite())
        {
            Some("the covariance must have a row and a column for each fitted number")
        } else if !self
            .spools_moved
            .iter()
            .all(|m| m.spool < spools && strengths(&m.strengths) && m.colour.is_finite())
        {
            Some("each moved spool must be one of the spools, with a strength for each")
        } else if self.steps.iter().any(|s| s.step.shares.count() != spools) {
            Some("each step must have one share for each spool")
        } else if !misfits.iter().all(|m| m.is_finite() && *m >= 0.0) {
            Some("the misfits must be numbers of 0 or more")
        } else {
            None
        }
    }

    /// How many numbers may have been fitted: a strength for each spool but the first, k2, k1
    /// where the readings take in the gloss, and the mixing's own. An exponent of 1 may have
    /// been given or found.
    fn parameter_counts(&self) -> [usize; 2] {
        let common = self.spools.len() + usize::from(self.specular == Specular::Included);
        match self.mixing {
            Mixing::Stirred => [common; 2],
            Mixing::PartlyStirred { .. } => [common + 1; 2],
            Mixing::SideBySide { .. } => [common, common + 1],
        }
    }

    pub(super) fn numbers(&self) -> Numbers {
        Numbers {
            strengths: self.strengths.clone(),
            surface: self.surface,
            mixing: self.mixing,
        }
    }
}
