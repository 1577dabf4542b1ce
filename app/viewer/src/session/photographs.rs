//! The photograph of a test print: what was typed for it, and what came of it.

use std::path::PathBuf;
use std::sync::Arc;

use geometry::Progress;
use photograph::laid::Frame;

use super::filled::Filled;
use super::told::{Told, told_of};
use crate::jobs::Job;
use crate::jobs::photograph::{Readings, SeenPhoto};
use crate::model::photo_form::PhotoForm;

/// What was typed, and what came of it.
#[derive(Default)]
pub struct Photographs {
    /// What was typed and dragged.
    pub form: PhotoForm,
    /// The photograph as it was read last.
    pub seen: Filled<Option<Arc<SeenPhoto>>, SeenPhoto>,
    /// Why nothing could be shown or written.
    pub trouble: Option<String>,
    /// The table that was written last.
    pub written: Filled<Option<PathBuf>, PathBuf>,
}

impl Photographs {
    /// The photograph to show: the one that is named.
    pub fn shown(&self) -> Option<&Arc<SeenPhoto>> {
        let seen = self.seen.as_ref()?;
        (seen.of.photo.trim() == self.form.photo.trim()).then_some(seen)
    }

    /// The frame to show: what was read with it moves it onto the print.
    pub fn frame(&self) -> Option<Frame> {
        let seen = self.shown()?;
        match self.form.frame == seen.of.frame {
            true => Some(seen.frame),
            false => self.form.frame,
        }
    }

    /// What was read with all that is typed now; anything older is out of date.
    pub fn readings(&self) -> Option<&Readings> {
        let seen = self.shown().filter(|seen| seen.of.reads_as(&self.form))?;
        seen.read.as_ref().ok()
    }

    /// Whether a photograph is being read or a table written.
    pub fn is_working(&self) -> bool {
        self.seen.is_working() || self.written.is_working()
    }

    pub(super) fn told(&self) -> Option<Told> {
        let reading = self.seen.job().map(told_of);
        reading.or_else(|| self.written.job().map(told_of))
    }

    pub(super) fn progress(&self) -> Option<&Progress> {
        let reading = self.seen.job().map(Job::progress);
        reading.or_else(|| self.written.job().map(Job::progress))
    }
}
