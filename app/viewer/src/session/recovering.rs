//! The copy for recovery, kept while a plan is edited.

use std::time::{Duration, Instant};

use super::Session;
use super::autosave::CALM;

impl Session {
    /// Renews the copy for recovery when it is due. Gives how long until it must be looked at
    /// again, if it is behind.
    pub(super) fn autosave(&mut self, now: Instant) -> Option<Duration> {
        let doc = self.doc.as_ref().filter(|d| d.is_unsaved())?;
        self.autosave.recovery_folder.as_ref()?;
        if self.autosave.due(doc.revision(), now) {
            let kept = self.autosave.keep(doc);
            if let Err(why) = kept {
                self.notices
                    .warning(format!("The copy for recovery could not be saved. {why}"));
                // Not again until something changes.
                self.autosave.kept = Some(doc.revision());
            }
        }
        self.autosave.behind_since.map(|_| CALM)
    }
}
