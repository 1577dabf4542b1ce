//! What the page is made from.

use geometry::{Cancelled, Progress};
use plan::changes::Change;
use plan::{AsPrinted, Painted, Schedule};
use project::job::Job;
use project::record::Opened;
use project::signoff::Standing;
use render::Stage;

use super::shape::MOST_TRIANGLES;
use crate::patches::{Fades, Patches};

/// What the page is made from.
pub struct Page<'a> {
    /// The plan on its part.
    pub job: &'a Job,
    /// What is asked for.
    pub schedule: &'a Schedule,
    /// What will come out.
    pub printed: &'a AsPrinted,
    /// How the plan stands.
    pub standing: &'a Standing,
    /// What has changed since it was last signed; `None` if it never was.
    pub changes: Option<&'a [Change]>,
    /// What was seen of prints, in their order.
    pub records: &'a [Came<'a>],
    /// Light and shadow for the still pictures.
    pub stage: &'a Stage,
    /// The skin to be turned about; see [`patches`].
    pub patches: &'a Patches,
}

/// The record of a print, and how the plan that it is of stands to this one.
#[derive(Clone, Debug, PartialEq)]
pub struct Came<'a> {
    /// The record.
    pub opened: &'a Opened,
    /// What is another in the plan than when the photographs were read; empty if nothing is.
    pub changed: Vec<String>,
}

impl Came<'_> {
    /// A warning, if the record is of another state of the plan.
    pub fn warning(&self) -> Option<String> {
        match self.changed.is_empty() {
            true => None,
            false => Some(format!(
                "This record belongs to another state of the plan. Changed since: {}.",
                self.changed.join(", ")
            )),
        }
    }
}

/// The skin of a part as the page needs it. Of so many facets that they are thinned out, no
/// care is taken of what cannot be seen.
///
/// # Errors
/// [`Cancelled`] when cancelled.
pub fn patches(painted: &Painted, progress: &Progress) -> Result<Patches, Cancelled> {
    let facets = painted.surface().mesh().triangles().len();
    match facets > MOST_TRIANGLES {
        true => Patches::to_look_at(painted, MOST_TRIANGLES, progress),
        false => Patches::new(painted, Fades::Whole, progress),
    }
}
