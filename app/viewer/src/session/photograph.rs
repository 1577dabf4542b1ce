//! Reading a photograph of a test print: choosing, reading, dragging the frame, writing the table.

use std::path::Path;

use calibrate::on_card::Sample;

use super::Session;
use crate::jobs::Job;
use crate::jobs::photograph as job;
use crate::model::errand::Forms;
use crate::model::page::Page;
use crate::model::photo_form::{PhotoFile, PhotoForm, table_beside};

impl Session {
    /// Shows the page.
    pub(super) fn show_photograph(&mut self) {
        if self.photographs.form.plan.trim().is_empty() {
            let plan = self.test_print();
            let form = &mut self.photographs.form;
            form.table = table_beside(&plan);
            form.plan = plan;
        }
        self.page = Some(Page::Photograph);
    }

    /// The plan of the open part if that is a test print, else where a test print is written.
    fn test_print(&self) -> String {
        let Some(doc) = &self.doc else {
            return String::new();
        };
        let open = doc.origin.plan_file.as_ref();
        let is_test = Sample::of(doc.plan(), doc.surface.mesh()).is_ok();
        match open.filter(|_| is_test) {
            Some(plan) => plan.display().to_string(),
            None => swatch_plan(&self.errands.forms),
        }
    }

    pub(super) fn set_photo_form(&mut self, to: PhotoForm) {
        let to = self.photographs.form.changed_to(to);
        self.photographs.take_form(to);
    }

    pub(super) fn take_photo_file(&mut self, of: PhotoFile, text: String) {
        let mut form = self.photographs.form.clone();
        *of.field(&mut form) = text;
        self.set_photo_form(form);
    }

    /// Reads it.
    pub(super) fn read_photograph(&mut self) {
        let form = self.photographs.form.clone();
        let reading = Job::start("Reading a photograph", &self.waker, move |p| {
            job::run(form, p)
        });
        self.photographs.start_reading(reading);
    }

    pub(super) fn can_write_photo_table(&self) -> bool {
        let photographs = &self.photographs;
        let named = photographs.form.table_file().is_some();
        named && photographs.readings().is_some() && !photographs.is_working()
    }

    /// Writes what was read into the table that is named.
    pub(super) fn write_photo_table(&mut self) {
        let Some(file) = self.photographs.form.table_file() else {
            return;
        };
        let Some(seen) = self.photographs.shown().cloned() else {
            return;
        };
        let write = Job::start("Writing the table", &self.waker, move |_| {
            match &seen.read {
                Ok(readings) => readings.write(&file),
                Err(why) => Err(crate::jobs::Stop::Failed(why.clone())),
            }
        });
        self.photographs.start_writing(write);
    }

    pub(super) fn take_photograph(&mut self) {
        if let Some(file) = self.photographs.take_results() {
            self.take_photo_table(&file);
        }
    }

    /// The table is written: a lag test's goes on into the fit of the lag.
    fn take_photo_table(&mut self, file: &Path) {
        if let Some(readings) = self.photographs.readings().filter(|r| r.are_heights()) {
            let forms = &mut self.errands.forms;
            forms.lag_plan = readings.plan().display().to_string();
            forms.lag_readings = file.display().to_string();
        }
    }
}

/// The plan of the test print that the job's first step writes.
fn swatch_plan(forms: &Forms) -> String {
    let folder = Path::new(&forms.swatch_folder);
    folder.join("swatch.plan.ron").display().to_string()
}
