//! What is known of files that another program may change.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::files::Opened;
use crate::jobs::Job;
use crate::jobs::watching::{Changed, Noticed, State, Watch, Which};

/// The watch over the part's files.
#[derive(Default)]
pub(super) struct Elsewhere {
    pub(super) watch: Option<(Watch, Job<Noticed>)>,
    /// What named files held when they were first seen, by their path.
    pub(super) named: BTreeMap<PathBuf, State>,
    /// What somebody else has written and nobody here wants.
    pub(super) declined: BTreeMap<Which, State>,
    /// The note for other windows that this plan is open here.
    pub(super) opened: Option<Opened>,
    /// Whether another window is known to have it open, too.
    pub(super) has_others: bool,
    /// What waits for an answer.
    pub(super) changed: Option<Changed>,
}
