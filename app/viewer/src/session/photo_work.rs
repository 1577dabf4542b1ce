//! What is read from photographs: what was typed for it, and what came of it.

use std::path::PathBuf;
use std::sync::Arc;

use geometry::Progress;

use super::filled::Filled;
use super::told::{Told, told_of};
use crate::jobs::{Job, Outcome};

/// What was typed, and what came of it.
pub struct PhotoWork<F, S> {
    /// What was typed and dragged.
    pub form: F,
    /// What was seen last.
    pub seen: Filled<Option<Arc<S>>, S>,
    /// Why nothing could be shown or written.
    pub trouble: Option<String>,
    /// The file or folder that was written last.
    pub written: Filled<Option<PathBuf>, PathBuf>,
}

impl<F: Default, S> Default for PhotoWork<F, S> {
    fn default() -> Self {
        Self {
            form: F::default(),
            seen: Filled::default(),
            trouble: None,
            written: Filled::default(),
        }
    }
}

impl<F, S: Send + Sync + 'static> PhotoWork<F, S> {
    /// Whether something is being read or written.
    pub fn is_working(&self) -> bool {
        self.seen.is_working() || self.written.is_working()
    }

    /// The work: its title, its stage, and how far it is.
    pub fn told(&self) -> Option<Told> {
        let reading = self.seen.job().map(told_of);
        reading.or_else(|| self.written.job().map(told_of))
    }

    pub(super) fn progress(&self) -> Option<&Progress> {
        let reading = self.seen.job().map(Job::progress);
        reading.or_else(|| self.written.job().map(Job::progress))
    }

    pub(super) fn cancel(&self) {
        if let Some(progress) = self.progress() {
            progress.cancel();
        }
    }

    /// Takes what was typed; what was said of the last work is no longer about it.
    pub(super) fn take_form(&mut self, form: F) {
        self.form = form;
        self.trouble = None;
        *self.written = None;
    }

    pub(super) fn start_reading(&mut self, job: Job<S>) {
        self.trouble = None;
        *self.written = None;
        self.seen.start(job);
    }

    pub(super) fn start_writing(&mut self, job: Job<PathBuf>) {
        self.trouble = None;
        self.written.start(job);
    }

    /// Takes what has finished; gives what was written, once it is.
    pub(super) fn take_results(&mut self) -> Option<PathBuf> {
        match self.seen.poll() {
            Some(Outcome::Done(seen)) => *self.seen = Some(Arc::new(seen)),
            Some(Outcome::Failed(why)) => self.trouble = Some(why),
            Some(Outcome::Cancelled) => {
                self.trouble = Some("Cancelled; nothing was read.".to_owned());
            }
            None => {}
        }
        match self.written.poll()? {
            Outcome::Done(file) => {
                *self.written = Some(file.clone());
                return Some(file);
            }
            Outcome::Failed(why) => self.trouble = Some(why),
            Outcome::Cancelled => {
                self.trouble = Some("Cancelled; nothing was written.".to_owned());
            }
        }
        None
    }
}
