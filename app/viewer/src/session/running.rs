//! Running the steps of the job beside colouring.

use std::path::Path;

use super::Session;
use super::told::{Told, told_of};
use crate::jobs::errands;
use crate::jobs::{Job, Outcome};
use crate::model::errand::{Errand, FormFile, Forms};

impl Session {
    /// What is proposed for the steps of the open part.
    pub(super) fn suggest_forms(&mut self) {
        if let Some(doc) = &self.doc {
            let plan = doc.plan();
            let stored = plan.machine.stored_blends.unwrap_or(8);
            self.errands.forms = Forms::suggested(&doc.origin, plan.spools.len(), stored);
        }
    }

    /// Whether a step can be run now.
    pub(super) fn can_run(&self, errand: Errand) -> bool {
        let Some(doc) = &self.doc else { return false };
        self.errands.running.is_none() && (doc.is_saved() || !errand.is_of_files())
    }

    /// Runs a step.
    pub(super) fn run_errand(&mut self, errand: Errand) {
        let (Some(part), Some(doc)) = (self.part_as_it_stands(), &self.doc) else {
            return;
        };
        let order = errands::Order {
            errand,
            forms: self.errands.forms.clone(),
            part,
            plan_file: doc.origin.plan_file.clone(),
            notes: doc.notes.clone(),
            findings: doc.found.clone(),
        };
        self.errands.answers.remove(&errand);
        self.errands.running = Some(errand);
        let job = Job::start(errand.title(), &self.waker, move |p| errands::run(order, p));
        self.errands.job.start(job);
    }

    pub(super) fn cancel_errand(&mut self) {
        if let Some(job) = self.errands.job.job() {
            job.progress().cancel();
        }
    }

    /// The step that runs: its title, its stage, and how far it is.
    pub fn errand_work(&self) -> Option<Told> {
        self.errands.job.job().map(told_of)
    }

    pub(super) fn take_errand(&mut self) {
        let Some(outcome) = self.errands.job.poll() else {
            return;
        };
        let Some(errand) = self.errands.running.take() else {
            return;
        };
        let answer = match outcome {
            Outcome::Done((_, answer)) => Ok(answer),
            Outcome::Failed(why) => Err(why),
            Outcome::Cancelled => Err("Cancelled; nothing was written.".to_owned()),
        };
        if matches!(errand, Errand::Sign | Errand::SendBack) {
            // The standing is another now.
            self.review.of = None;
            self.review.leave();
        }
        self.errands.answers.insert(errand, answer);
    }

    /// Opens a file or folder with what the system has for it.
    pub(super) fn open_outside(&mut self, path: &Path) {
        if let Err(why) = opener::open(path) {
            self.notices.warning(format!(
                "The system could not open {}: {why}. Open it in your file manager.",
                path.display()
            ));
        }
    }

    /// Puts a chosen file into its field.
    pub(super) fn take_form_file(&mut self, of: FormFile, text: String) {
        *of.field(&mut self.errands.forms) = text;
    }
}
