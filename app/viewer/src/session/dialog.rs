//! A system's dialog for files, and what it gave.

use std::path::PathBuf;
use std::time::Duration;

use crate::commands::Browse;
use crate::jobs::Job;

/// Nobody cancels a dialog this soon: it never opened.
const NEVER_OPENED: Duration = Duration::from_millis(400);

/// What a dialog gave.
#[derive(Debug, PartialEq)]
pub enum Picked {
    /// A file or a folder.
    File(PathBuf),
    /// Nothing: it was cancelled.
    Nothing,
    /// Nothing: the system has no dialog to show.
    NoDialog,
}

impl Picked {
    /// From what a dialog gave, and how long it was open.
    pub fn after(given: Option<PathBuf>, open: Duration) -> Self {
        match given {
            Some(file) => Self::File(file),
            None if open < NEVER_OPENED => Self::NoDialog,
            None => Self::Nothing,
        }
    }
}

/// A dialog that is open.
pub(super) struct Dialog {
    pub(super) what: Browse,
    pub(super) job: Job<Picked>,
}
