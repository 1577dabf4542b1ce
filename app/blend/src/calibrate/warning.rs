//! What a person should know before trusting a fit.

use serde::{Deserialize, Serialize};

use super::FeedFault;

/// A doubt about a fit. Steps are counted from 1; spools go by name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Warning {
    /// So few steps of more than one spool that chance decides.
    TooFewSteps {
        /// Mixed steps measured.
        mixed: usize,
        /// Mixed steps wanted.
        wanted: usize,
    },
    /// A spool was never measured alone, so its colour is taken from the spool list.
    NeverAlone {
        /// The spool.
        spool: String,
    },
    /// A spool is in no mixed step, so its tinting strength is a guess.
    NeverMixed {
        /// The spool.
        spool: String,
    },
    /// A spool alone was measured far from the colour that it is listed with.
    NotAsListed {
        /// The spool.
        spool: String,
        /// How far.
        delta_e00: f64,
    },
    /// A step is far from what the other steps say, and was left out of the fit.
    LeftOut {
        /// The step.
        step: usize,
        /// How far.
        delta_e00: f64,
    },
    /// The steps fit much better if the machine fed something else.
    LooksLikeFeedFault {
        /// What it may have done.
        fault: FeedFault,
        /// Misfit as the steps were told.
        as_told_delta_e00: f64,
        /// Misfit if the fault is assumed.
        if_so_delta_e00: f64,
    },
    /// A tinting strength so far from the first spool's that a drive may feed wrongly.
    OddStrength {
        /// The spool.
        spool: String,
        /// Its tinting strength.
        strength: f64,
    },
    /// The mixed steps go with a spool's listed colour, and not with the reading of it alone,
    /// which was left out of the fit.
    AloneOff {
        /// The step.
        step: usize,
        /// The spool.
        spool: String,
        /// How far.
        delta_e00: f64,
    },
    /// The surface constant k2 came to rest at the end of its range.
    SurfaceAtBound {
        /// Its value.
        k2: f64,
    },
    /// The model can't follow the steps well.
    PoorFit {
        /// Root of the mean squared difference.
        rms_delta_e00: f64,
    },
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooFewSteps { mixed, wanted } => write!(
                f,
                "only {mixed} mixed steps were measured; measure {wanted} or more for a fit that \
                 you can trust"
            ),
            Self::NeverAlone { spool } => write!(
                f,
                "no step of '{spool}' alone was measured, so its colour is taken from the \
                 spool list; print and measure one"
            ),
            Self::NeverMixed { spool } => write!(
                f,
                "no mixed step has '{spool}', so its tinting strength is a guess; measure steps \
                 that mix it with another spool"
            ),
            Self::NotAsListed { spool, delta_e00 } => write!(
                f,
                "'{spool}' alone is {delta_e00:.1} ΔE00 from its listed colour; the measured \
                 colour is used, so check that the reading is right"
            ),
            Self::LeftOut { step, delta_e00 } => write!(
                f,
                "step {step} is {delta_e00:.1} ΔE00 from what the other steps say and was left \
                 out of the fit; measure it again"
            ),
            Self::LooksLikeFeedFault {
                fault,
                as_told_delta_e00,
                if_so_delta_e00,
            } => write!(
                f,
                "this looks like a feed fault: {fault} (misfit {as_told_delta_e00:.1} ΔE00 as \
                 listed, {if_so_delta_e00:.1} with this fault)"
            ),
            Self::OddStrength { spool, strength } => write!(
                f,
                "'{spool}' tints {strength:.2} times as strongly as the first spool, which is \
                 unusual; check that both drives feed what they should"
            ),
            Self::AloneOff {
                step,
                spool,
                delta_e00,
            } => write!(
                f,
                "step {step}, '{spool}' alone, is {delta_e00:.1} ΔE00 from its listed colour, and \
                 its blends fit the listed colour far better; the step was left out of the fit: \
                 measure it again"
            ),
            Self::SurfaceAtBound { k2 } => write!(
                f,
                "the reflection inside the surface, k2, is at the end of its range ({k2:.2}; \
                 surfaces have 0.4 to 0.7), so it makes up for something else, such as gloss in \
                 readings marked as without it; only use blends between measured steps"
            ),
            Self::PoorFit { rms_delta_e00 } => write!(
                f,
                "the model is {rms_delta_e00:.1} ΔE00 from the steps on average; measure again, \
                 and expect the same error in predictions"
            ),
        }
    }
}
