//! From a measured test print to a mixing model that can be trusted.
//!
//! A test print holds steps of known shares; each is measured. [`fit`] finds how the spools meet
//! ([`Mixing`](crate::mix::Mixing)), and the strengths and surface constants under which a
//! [`Strand`](crate::mix::Strand) of them comes nearest to all steps, tells how near, and looks
//! for steps that don't belong. The result,
//! [`MeasuredSpools`], is a document that plans refer to; [`Calibrated`] is the model made
//! from it, with a standard error on each colour that it predicts.

mod alone;
mod calibrated;
mod choice;
mod document;
mod doubts;
mod errors;
mod family;
mod fault;
mod fit;
mod fitted;
mod least_squares;
mod measurements;
mod parameters;
mod provenance;
mod sorted;
mod test_steps;
mod warning;

pub use calibrated::Calibrated;
pub use choice::Tried;
pub use document::{DocumentError, MeasuredSpools, OLDEST_VERSION, StepResult, VERSION};
pub use family::SpoolMoved;
pub use fault::FeedFault;
pub use fit::{FitError, fit};
pub use measurements::{MeasuredStep, Measurements, Specular};
pub use provenance::Provenance;
pub use test_steps::test_steps;
pub use warning::Warning;
