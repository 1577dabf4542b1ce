//! The part in bodies: cut, shown, written.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use bodies::Options;
use weave::dialect::Dialect;

use super::Session;
use crate::jobs::bodies::{self as job, Cut};
use crate::jobs::{Job, Outcome};
use crate::model::page::Page;

impl Session {
    /// Shows the page of the bodies, and cuts the part as it was cut last.
    pub(super) fn show_bodies(&mut self) {
        let Some(doc) = &self.doc else { return };
        let folder = job::suggested_folder(&doc.origin).display().to_string();
        let options = Options::default();
        self.page = Some(Page::Bodies { folder, options });
        self.cut_bodies(options);
    }

    /// Cuts the part.
    pub(super) fn cut_bodies(&mut self, options: Options) {
        *self.bodies = None;
        *self.bodies_written = None;
        if let Some(why) = self.mesh_trouble() {
            return self.notices.error(why);
        }
        let (Some(doc), Some(dialect)) = (&self.doc, self.dialect_of_bodies()) else {
            return;
        };
        let order = job::Order {
            plan_file: doc.origin.plan_file.clone().unwrap_or_default(),
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            options,
            dialect,
        };
        if let Some(Page::Bodies { options: shown, .. }) = &mut self.page {
            *shown = options;
        }
        let cut = Job::start("Cutting bodies", &self.waker, move |p| job::run(order, p));
        self.bodies.start(cut);
    }

    /// The built-in dialect chosen for the toolpath, or the first one.
    fn dialect_of_bodies(&self) -> Option<Dialect> {
        let chosen = self.toolpath.draft.built_in;
        Dialect::built_in(chosen.unwrap_or("slots"))
    }

    /// Writes what was cut.
    pub(super) fn write_bodies(&mut self, folder: &Path) {
        let Some(cut) = (*self.bodies).clone() else {
            return;
        };
        let folder = folder.to_owned();
        let write = move |p: &geometry::Progress| job::write(&cut, &folder, p);
        let job = Job::start("Writing bodies", &self.waker, write);
        self.bodies_written.start(job);
    }

    pub(super) fn take_bodies(&mut self, outcome: Outcome<Arc<Cut>>) {
        match outcome {
            Outcome::Done(cut) => *self.bodies = Some(cut),
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => self.notices.done("Cutting bodies was cancelled."),
        }
    }

    pub(super) fn take_written_bodies(&mut self, outcome: Outcome<PathBuf>) {
        match outcome {
            Outcome::Done(folder) => {
                self.notices
                    .done(format!("Bodies are in {}", folder.display()));
                *self.bodies_written = Some(folder);
            }
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => self.notices.done("Writing bodies was cancelled."),
        }
    }

    /// Whether bodies are being cut or written.
    pub fn is_on_bodies(&self) -> bool {
        self.bodies.is_working() || self.bodies_written.is_working()
    }
}
