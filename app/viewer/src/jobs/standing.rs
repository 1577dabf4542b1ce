//! How the open plan stands with its reviewers.

use std::path::PathBuf;

use handoff::signoff::{self, Standing};
use plan::Plan;

use super::Stop;

/// A state of the plan: its revision, and whether that is what the file holds.
pub type Of = (u64, bool);

/// What to look up.
pub struct Order {
    /// The state of the plan.
    pub of: Of,
    /// The plan's file, once there is one.
    pub plan_file: Option<PathBuf>,
    /// The plan as it is now.
    pub plan: Plan,
}

/// How a plan stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Review {
    /// The state of the plan that it is of; none before anything was looked up.
    pub of: Option<Of>,
    /// In one line.
    pub words: String,
    /// Somebody approved the plan just as it is.
    pub approved: bool,
}

/// Looks it up. Signatures are bound to files, so changes that are not saved undo them.
///
/// # Errors
/// [`Stop`] when the signatures or the signed files can't be read.
pub fn run(order: Order) -> Result<Review, Stop> {
    let (_, saved) = order.of;
    let failed = |error| Stop::failed(&error);
    let standing = match &order.plan_file {
        None => Standing::not_reviewed(),
        Some(file) if saved => signoff::standing_of(file, &order.plan).map_err(failed)?,
        Some(file) => signoff::unsaved_standing(file).map_err(failed)?,
    };
    Ok(Review {
        of: Some(order.of),
        words: standing.words(),
        approved: standing.is_approved(),
    })
}
