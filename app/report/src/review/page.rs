//! What the page is made from.

use plan::changes::Change;
use plan::{AsPrinted, Schedule};
use project::job::Job;
use project::signoff::Standing;
use render::Stage;

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
    /// Light and shadow for the still pictures.
    pub stage: &'a Stage,
}
