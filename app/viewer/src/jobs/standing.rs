//! How the open plan stands with its reviewers.

use std::path::{Path, PathBuf};

use plan::Plan;
use project::signoff::{self, Standing};

use super::Stop;

/// What a standing hangs on: the plan's saved revision, or `None` while it has changes that no
/// file holds, whichever they are.
pub type Of = Option<u64>;

/// What to look up.
pub struct Order {
    /// What it hangs on.
    pub of: Of,
    /// The plan's file, once there is one.
    pub plan_file: Option<PathBuf>,
    /// The plan as the file has it; `None` while it has other changes.
    pub saved: Option<Plan>,
}

/// How a plan stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Review {
    /// What it hangs on; none before anything was looked up.
    pub of: Option<Of>,
    /// In one line.
    pub words: String,
    /// Somebody approved the plan just as it is.
    pub approved: bool,
}

/// How a plan stands, given its file, once there is one, and the plan as the file has it,
/// unless it has other changes. Signatures are bound to files, so such changes undo them.
///
/// # Errors
/// [`Stop`] when the signatures or the signed files can't be read.
pub fn of(plan_file: Option<&Path>, saved: Option<&Plan>) -> Result<Standing, Stop> {
    let failed = |error| Stop::failed(&error);
    match (plan_file, saved) {
        (None, _) => Ok(Standing::not_reviewed()),
        (Some(file), Some(plan)) => signoff::standing_of(file, plan).map_err(failed),
        (Some(file), None) => signoff::unsaved_standing(file).map_err(failed),
    }
}

/// Looks it up.
///
/// # Errors
/// As [`of`].
pub fn run(order: Order) -> Result<Review, Stop> {
    let standing = of(order.plan_file.as_deref(), order.saved.as_ref())?;
    Ok(Review {
        of: Some(order.of),
        words: standing.words(),
        approved: standing.is_approved(),
    })
}
