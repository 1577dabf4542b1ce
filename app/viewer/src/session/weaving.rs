//! Weaving the plan into the person's toolpath, and reading the result back.

use super::Session;
use crate::jobs::{Job, Outcome, read_back, weave};

impl Session {
    /// Weaves the plan, as it stands, into the chosen toolpath.
    pub fn weave(&mut self) {
        let (Some(part), Some(doc)) = (self.part_as_it_stands(), &self.doc) else {
            return;
        };
        let draft = &self.toolpath.draft;
        let (Some(sliced), Some(file)) = (draft.sliced_file(), draft.woven_file()) else {
            return;
        };
        if self.is_on_toolpath() || !draft.can_weave() {
            return;
        }
        let order = weave::Order {
            part,
            plan_file: doc.origin.plan_file.clone(),
            saved: (!doc.is_unsaved()).then(|| doc.plan().clone()),
            reading: draft.reading(),
            arrange: draft.arrange(),
            needs_review: draft.needs_review,
            sliced,
            file,
        };
        *self.toolpath.done = None;
        *self.toolpath.read_back = None;
        self.toolpath.looked_at = None;
        self.toolpath.trouble = None;
        let job = Job::start("Weaving", &self.waker, move |p| weave::run(order, p));
        self.toolpath.done.start(job);
    }

    /// Reads the woven file back.
    pub fn read_back(&mut self) {
        let Some(part) = self.part_as_it_stands() else {
            return;
        };
        let toolpath = &self.toolpath;
        let Some(file) = toolpath.draft.woven_file().filter(|f| f.is_file()) else {
            return;
        };
        if self.is_on_toolpath() {
            return;
        }
        let sliced = toolpath.draft.sliced_file();
        let order = read_back::Order {
            part,
            reading: toolpath.reading_of_woven(),
            sliced: sliced.filter(|f| f.is_file() && *f != file),
            file,
        };
        *self.toolpath.read_back = None;
        self.toolpath.looked_at = None;
        self.toolpath.trouble = None;
        let job = Job::start("Checking the woven file", &self.waker, move |p| {
            read_back::run(order, p)
        });
        self.toolpath.read_back.start(job);
    }

    pub(super) fn take_woven(&mut self) {
        let done = match self.toolpath.done.poll() {
            Some(Outcome::Done(done)) => done,
            Some(Outcome::Failed(why)) => return self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) => return self.notices.done("Weaving was cancelled."),
            None => return,
        };
        self.notices.done(format!("Wrote {}", done.file.display()));
        let follows = self.toolpath.follow.as_ref();
        let again = follows.is_some_and(|f| f.file() == done.file);
        *self.toolpath.done = Some(done);
        if again {
            self.stop_following();
            self.follow();
        }
    }

    pub(super) fn take_read_back(&mut self) {
        match self.toolpath.read_back.poll() {
            Some(Outcome::Done(found)) => *self.toolpath.read_back = Some(found),
            Some(Outcome::Failed(why)) => self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) => self.notices.done("The check was cancelled."),
            None => {}
        }
    }
}
