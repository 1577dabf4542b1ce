//! Writing what the printer needs.

use std::path::Path;

use super::Session;
use crate::jobs::prepare::{self, Prepared};
use crate::jobs::{Job, Outcome};
use crate::model::page::Page;

impl Session {
    /// Asks where to write what the printer needs.
    pub(super) fn ask_prepare(&mut self) {
        let Some(doc) = &self.doc else { return };
        let folder = prepare::suggested_folder(&doc.origin);
        *self.prepared = None;
        self.page = Some(Page::Prepare {
            folder: folder.display().to_string(),
        });
    }

    /// Writes what the printer needs into a folder.
    pub fn prepare(&mut self, folder: &Path) {
        if let Some(why) = self.mesh_trouble() {
            return self.notices.error(why);
        }
        let Some(doc) = &self.doc else { return };
        let order = prepare::Order {
            plan_file: doc.origin.plan_file.clone().unwrap_or_default(),
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            notes: doc.notes.clone(),
            findings: doc.found.clone(),
            record: self.errands.forms.record.clone(),
            folder: folder.to_owned(),
        };
        *self.prepared = None;
        let job = Job::start("Preparing", &self.waker, move |p| prepare::run(order, p));
        self.prepared.start(job);
    }

    pub(super) fn take_prepared(&mut self, outcome: Outcome<Prepared>) {
        match outcome {
            Outcome::Done(prepared) => {
                self.notices
                    .done(format!("Prepared in {}", prepared.folder.display()));
                *self.prepared = Some(prepared);
            }
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => self.notices.done("Preparing was cancelled."),
        }
    }

    /// Whether what the printer needs is being written.
    pub fn is_preparing(&self) -> bool {
        self.prepared.is_working()
    }
}
