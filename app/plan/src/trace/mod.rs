//! From what was seen of a bad print to its likeliest cause.
//!
//! Each cause is a small change of the print: a drive that feeds too little, two spools
//! exchanged, another chamber, heights that are off, a hotend that can't melt fast enough. The
//! part is followed through the chamber under each of them, its free numbers are fitted to what
//! was seen, and the causes are ranked by how well they then explain it, one free number
//! against another (G. Schwarz, "Estimating the Dimension of a Model", Annals of Statistics
//! 6(2), 1978, from memory).

mod fit;
mod forward;
mod seen;
mod words;

use blend::MixModel;
use geometry::{Cancelled, Progress};
use serde::{Deserialize, Serialize};

use crate::{AsPrinted, Plan, Schedule};

pub use seen::{Seen, Sighting};

/// Why a print came out wrong.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Cause {
    /// Nothing is wrong: what was seen is what was to be expected.
    AsPlanned,
    /// A drive feeds less than it is told.
    UnderFeed {
        /// Which, from 0.
        drive: usize,
        /// The part of its filament that is missing.
        missing: f64,
        /// The height from which on, mm.
        from_mm: f64,
        /// Whether its gear turns as it should and slips, rather than turning too little.
        slips: bool,
    },
    /// Two spools stand at each other's drives.
    Swapped {
        /// The one drive, from 0.
        drive: usize,
        /// The other one.
        with: usize,
    },
    /// The chamber's lag is not what the machine file says.
    Lag {
        /// What it seems to be, mm³.
        lag_mm3: f64,
    },
    /// The changes of blend begin or end at other heights than planned.
    Heights {
        /// Where the first change seems to be, mm.
        start_mm: f64,
        /// Where the last change seems to be, mm.
        end_mm: f64,
    },
    /// No drive gets more than a part of the flow melted.
    FlowLimit {
        /// The greatest share that is fed.
        most_share: f64,
    },
}

impl Cause {
    /// Its kind in a few words.
    pub fn name(&self) -> &'static str {
        match self {
            Self::AsPlanned => "nothing is wrong",
            Self::UnderFeed { .. } => "a drive feeds too little",
            Self::Swapped { .. } => "two spools are exchanged",
            Self::Lag { .. } => "the lag is set wrong",
            Self::Heights { .. } => "changes begin or end at wrong heights",
            Self::FlowLimit { .. } => "the hotend can't melt fast enough",
        }
    }
}

/// A cause, and what speaks for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// The cause.
    pub cause: Cause,
    /// How likely it is against the others looked at, all taken for equally likely beforehand.
    pub chance: f64,
    /// How far what was seen is from what the cause makes, in expected errors of reading (root
    /// mean square): near 1 is as good as readings are.
    pub misfit: f64,
    /// What speaks for it, in a sentence or two.
    pub evidence: String,
    /// What to try.
    pub advice: String,
}

/// Ranks causes for what was seen, the likeliest first. Of each kind of cause only the one that
/// fits best is told.
///
/// # Errors
/// [`Cancelled`] when told to stop.
pub fn trace(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    printed: &AsPrinted,
    sighting: &Sighting,
    progress: &Progress,
) -> Result<Vec<Finding>, Cancelled> {
    progress.stage("Looking for the cause");
    let print = forward::Print::new(plan, model, schedule, printed, sighting);
    if print.is_blind() {
        return Ok(Vec::new());
    }
    let mut fits = Vec::new();
    for search in fit::SEARCHES {
        progress.check()?;
        fits.extend(search(&print));
        progress.set(fits.len() as f32 / fit::SEARCHES.len() as f32);
    }
    let planned = print.misfit(&Cause::AsPlanned);
    let mut findings: Vec<Finding> = fit::chances(&fits, print.count())
        .into_iter()
        .zip(&fits)
        .map(|(chance, fit)| {
            let misfit = (fit.misfit / print.count() as f64).sqrt();
            let before = (planned / print.count() as f64).sqrt();
            Finding {
                cause: fit.cause,
                chance,
                misfit,
                evidence: words::evidence(&fit.cause, plan, before, misfit),
                advice: words::advice(&fit.cause, plan),
            }
        })
        .collect();
    findings.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    Ok(findings)
}

/// What would be seen of a print with a cause at work: what [`trace`] compares with. For
/// studies, and to show a person what a cause looks like.
pub fn expected(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    printed: &AsPrinted,
    sighting: &Sighting,
    cause: &Cause,
) -> Sighting {
    let print = forward::Print::new(plan, model, schedule, printed, sighting);
    Sighting {
        seen: print.seen(cause),
        ..sighting.clone()
    }
}
