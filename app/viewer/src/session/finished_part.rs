//! Reading the finished part from photographs, writing its record, and going on with both.

use std::path::{Path, PathBuf};

use super::Session;
use crate::jobs::finished_part as job;
use crate::jobs::{Job, Stop};
use crate::model::errand::Errand;
use crate::model::finished_form::{FinishedFile, FinishedForm, Photographed};
use crate::model::page::{Drawer, Page};

impl Session {
    /// Shows the page.
    pub(super) fn show_finished_part(&mut self) {
        if self.finished.form.folder.trim().is_empty()
            && let Some(doc) = &self.doc
        {
            self.finished.form.folder = doc.origin.beside("-seen").display().to_string();
        }
        self.page = Some(Page::FinishedPart);
    }

    /// What was typed for it; what is only shown otherwise changes nothing of what was done.
    pub(super) fn set_finished_form(&mut self, to: FinishedForm) {
        let as_before = FinishedForm {
            shows: to.shows,
            ..self.finished.form.clone()
        };
        match to == as_before {
            true => self.finished.form.shows = to.shows,
            false => self.finished.take_form(to),
        }
    }

    pub(super) fn take_finished_file(&mut self, of: FinishedFile, text: String) {
        let mut form = self.finished.form.clone();
        if let Some(field) = of.field(&mut form) {
            *field = text;
        }
        self.set_finished_form(form);
    }

    /// Whether the plan's file is the plan that is open: what is read is said of that file.
    pub fn is_saved(&self) -> bool {
        self.doc.as_ref().is_some_and(|doc| doc.is_saved())
    }

    pub(super) fn can_read_finished(&self) -> bool {
        self.is_saved() && !self.finished.is_working()
    }

    /// Reads the photographs.
    pub(super) fn read_finished(&mut self) {
        let Some(doc) = &self.doc else { return };
        let Some(plan_file) = doc.origin.plan_file.clone() else {
            return;
        };
        let order = job::Order {
            form: self.finished.form.clone(),
            plan_file,
            revision: doc.revision(),
        };
        let reading = Job::start("Reading the finished part", &self.waker, move |p| {
            job::run(order, p)
        });
        self.finished.start_reading(reading);
    }

    pub(super) fn can_write_record(&self) -> bool {
        let finished = &self.finished;
        let named = finished.form.record_folder().is_some();
        named && finished.read().is_some() && !finished.is_working()
    }

    /// Writes the record of what was read into the folder that is named.
    pub(super) fn write_record(&mut self) {
        let Some(folder) = self.finished.form.record_folder() else {
            return;
        };
        let Some(seen) = self.finished.read().cloned() else {
            return;
        };
        let write = Job::start("Writing the record", &self.waker, move |_| {
            let written = seen.record.write(&folder);
            written
                .map(|()| folder)
                .map_err(|error| Stop::failed(&error))
        });
        self.finished.start_writing(write);
    }

    pub(super) fn take_finished(&mut self) {
        if let Some(folder) = self.finished.take_results() {
            self.take_record(&folder);
        }
    }

    /// The record is written: review page, hand-off and preparing take it along.
    fn take_record(&mut self, folder: &Path) {
        self.errands.forms.record = folder.display().to_string();
    }

    /// The folder that was written last, while preparing takes it along.
    pub fn record_to_prepare(&self) -> Option<&PathBuf> {
        let written = self.finished.written.as_ref()?;
        (self.errands.forms.record == written.display().to_string()).then_some(written)
    }

    /// Looks for the cause of what was read.
    pub(super) fn trace_finished(&mut self) {
        let Some(seen) = self.finished.read().cloned() else {
            return;
        };
        self.errands.forms.photographed = Some(Photographed {
            names: seen.names().join(", "),
            table: seen.colours.clone(),
            revision: seen.revision,
        });
        self.page = None;
        self.show_drawer(Drawer::Job);
        self.run_errand(Errand::Trace);
    }
}
