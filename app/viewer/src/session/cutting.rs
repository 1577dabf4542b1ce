//! The outline of the part where it is cut open.

use geometry::Progress;
use geometry::layers::Section;

use super::Session;
use crate::jobs::{Job, Outcome};

impl Session {
    /// The outline of the part at the layer cursor and its height, mm, while it is cut open;
    /// the last one until that is worked out.
    pub fn section(&self) -> Option<&(f64, Section)> {
        self.section.as_ref().filter(|_| self.is_cut_open())
    }

    fn is_cut_open(&self) -> bool {
        self.view.cut && self.toolpath.follow.is_none() && self.doc.is_some()
    }

    pub(super) fn take_section(&mut self) {
        if let Some(Outcome::Done(cut)) = self.section.poll() {
            *self.section = Some(cut);
        }
    }

    pub(super) fn start_section(&mut self) {
        let z = self.view.cursor_mm;
        let known = self.section.as_ref().is_some_and(|s| s.0 == z);
        if known || self.section.is_working() || !self.is_cut_open() {
            return;
        }
        let Some(doc) = &self.doc else { return };
        let mesh = doc.mesh().clone();
        let cut = move |_: &Progress| Ok((z, geometry::layers::slice(&mesh, z)));
        let job = Job::start("Cutting the part", &self.waker, cut);
        self.section.start(job);
    }
}
