//! Why an edit was refused.

use crate::ron_text::Problem;

/// Why an edit was refused. The plan is as it was.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EditError {
    /// There is no such region, stop, stroke or spool.
    #[error("there is no {what} {} here, only {count}", .place + 1)]
    NoSuch {
        /// What was asked for.
        what: &'static str,
        /// Its place, from 0.
        place: usize,
        /// How many there are.
        count: usize,
    },
    /// The region is locked.
    #[error("region '{0}' is locked; unlock it first")]
    Locked(String),
    /// The region has one blend and no fade.
    #[error("region '{0}' has one blend and no fade; give it a fade first")]
    NoFade(String),
    /// The base can't be taken away, moved, hidden or painted on.
    #[error("the first region covers everything and stays at the bottom")]
    Base,
    /// The spools stand in a file.
    #[error("the spools are in the file {0}; change them there, or give the plan its own spools")]
    SpoolFile(String),
    /// The last dab of a stroke can't be taken.
    #[error("a stroke needs at least one dab; remove the whole stroke instead")]
    LastDab,
    /// The plan would be wrong.
    #[error(transparent)]
    Wrong(#[from] Problem),
}
