//! The steps of the job beside colouring: what was typed for them, and what came of each.

use std::collections::BTreeMap;

use super::filled::Filled;
use crate::model::errand::{Answer, Errand, Forms};

/// What was typed for the steps, and what came of them.
#[derive(Default)]
pub struct Errands {
    /// What was typed.
    pub forms: Forms,
    /// What came of each, or why nothing did.
    pub answers: BTreeMap<Errand, Result<Answer, String>>,
    /// The one that is being run.
    pub running: Option<Errand>,
    pub(super) job: Filled<(), (Errand, Answer)>,
}
