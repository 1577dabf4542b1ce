//! The chamber's dead and mixed volume, from what was seen of a printed change of blend.
//!
//! Two kinds of readings tell them: colours at heights about the changes ([`of_colours`]), or
//! with a ruler alone the heights at which a change began and ended ([`of_ends`]). The heights
//! become extruded volumes, so the part must be laid as it was planned, without hollow filling.
//!
//! Errors hold the truth in two of three cases. They come from a posterior: readings err, by the
//! instrument and by the rule, and nobody knows all that they depend on, such as how the spools
//! mix, how strong they are, or what the eye takes for a change. All that is tried, each as likely
//! as it is usual and as readings make it.

mod colours;
mod ends;
mod posterior;
mod scatter;
mod search;
mod task;

use serde::{Deserialize, Serialize};

use crate::machine::Chamber;

pub use colours::{ColourReading, of_colours};
pub use ends::{EndsReading, of_ends};

/// A chamber that fits what was seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LagFit {
    /// The chamber.
    pub chamber: Chamber,
    /// Standard error of its dead volume, mm³.
    pub dead_error_mm3: f64,
    /// Standard error of its mixed volume, mm³.
    pub mixed_error_mm3: f64,
    /// Standard error of both together, mm³. It is mostly smaller than either: readings tell the
    /// lag better than how it is parted.
    pub lag_error_mm3: f64,
    /// How far readings are off, root mean square, in the unit of the readings.
    pub misfit: f64,
    /// The same with the chamber as it was set before.
    pub misfit_before: f64,
    /// The unit of readings.
    pub unit: Unit,
    /// How many numbers were fitted to.
    pub readings: usize,
    /// What to know before the chamber is used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// The unit of readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Colour difference, ΔE00 for small ones.
    De00,
    /// Height, mm.
    Mm,
}

/// Why there is no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LagFault {
    /// The plan has one blend from bottom to top.
    #[error("this plan has no change of blend that shows a lag; use the plan of the lag test")]
    NoChange,
    /// Not enough was seen.
    #[error("{0} readings are too few; take at least {1}, around one change or several")]
    TooFew(usize, usize),
    /// A reading can't be.
    #[error("reading {number}: {what}")]
    Reading {
        /// Which, from 1.
        number: usize,
        /// What is wrong and what to do.
        what: String,
    },
    /// The readings leave the volumes open.
    #[error(
        "these readings can't separate dead volume from mixed volume; read every layer or two \
         around the changes, from before one shows until long after"
    )]
    Blind,
}

impl LagFault {
    fn reading(index: usize, what: impl Into<String>) -> Self {
        Self::Reading {
            number: index + 1,
            what: what.into(),
        }
    }
}
