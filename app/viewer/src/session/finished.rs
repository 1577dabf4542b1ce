//! Photographs of the finished part: what was typed for them, and what came of it.

use std::sync::Arc;

use super::photo_work::PhotoWork;
use crate::jobs::finished_part::SeenPart;
use crate::model::finished_form::FinishedForm;

/// What was typed, and what came of it.
pub type Finished = PhotoWork<FinishedForm, SeenPart>;

impl Finished {
    /// What was read of the photographs that are named, also with other settings.
    pub fn shown(&self) -> Option<&Arc<SeenPart>> {
        let seen = self.seen.as_ref()?;
        seen.of.names_as(&self.form).then_some(seen)
    }

    /// What was read with all that is typed now; anything older is out of date.
    pub fn read(&self) -> Option<&Arc<SeenPart>> {
        let seen = self.seen.as_ref()?;
        seen.of.reads_as(&self.form).then_some(seen)
    }
}
