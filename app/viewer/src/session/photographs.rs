//! The photograph of a test print: what was typed for it, and what came of it.

use std::sync::Arc;

use photograph::laid::Frame;

use super::photo_work::PhotoWork;
use crate::jobs::photograph::{Readings, SeenPhoto};
use crate::model::photo_form::PhotoForm;

/// What was typed, and what came of it.
pub type Photographs = PhotoWork<PhotoForm, SeenPhoto>;

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
}
