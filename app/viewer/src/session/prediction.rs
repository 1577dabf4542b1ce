//! What comes of the plan: what is asked of each layer, and what the machine is predicted to
//! lay down.

use blend::Srgb;

use super::Session;
use crate::jobs::printed::{self, Printed};
use crate::jobs::summary::{self, Summarised};
use crate::jobs::{Job, Outcome};
use crate::model::page::Drawer;
use crate::model::profile::{Piece, Profile};
use crate::model::view::Look;

impl Session {
    /// What is at each height.
    pub fn profile(&self) -> &Profile {
        &self.summary.profile
    }

    /// The part as it will be printed, if that is to be shown and is worked out.
    pub fn print_in_sight(&self) -> Option<&Printed> {
        let printed = self.printed_now()?;
        (self.view.look != Look::Asked).then_some(printed)
    }

    /// The part as it will be printed, if that is worked out for the plan as it is.
    pub fn printed_now(&self) -> Option<&Printed> {
        let revision = self.doc.as_ref()?.revision();
        let now = self.printed.revision == Some(revision) && self.colouring.drawn == Some(revision);
        now.then_some(&*self.printed)
    }

    /// The colour in which the ribbon shows a piece of a layer.
    pub fn piece_colour(&self, layer: usize, piece: &Piece) -> Srgb {
        let printed = self.print_in_sight();
        match printed.and_then(|p| p.colour(self.view.look, layer, piece.dose)) {
            Some(colour) => colour,
            None => piece.colour,
        }
    }

    pub(super) fn start_summary(&mut self) {
        let (Some(doc), Some(painted)) = (&self.doc, &self.painted) else {
            return;
        };
        let Some(drawn) = self.colouring.drawn else {
            return;
        };
        let idle = self.colouring.repaint.is_none() && !self.summary.is_working();
        if !idle || self.summary.revision == Some(drawn) || drawn != doc.revision() {
            return;
        }
        let order = summary::Order {
            revision: drawn,
            painted: painted.clone(),
            before: self.groundwork.clone(),
        };
        let job = Job::start("Calculating the layers", &self.waker, move |p| {
            summary::run(order, p)
        });
        self.summary.start(job);
    }

    /// Whether anyone asks how the part will come out.
    fn printed_wanted(&self) -> bool {
        self.view.look != Look::Asked || self.drawer == Drawer::Checks
    }

    /// Whether that is still to be worked out.
    pub(super) fn printed_is_behind(&self) -> bool {
        self.printed_wanted() && self.printed.revision != self.summary.revision
    }

    pub(super) fn start_printed(&mut self) {
        if self.printed.is_working() || !self.printed_is_behind() || self.summary_is_behind() {
            return;
        }
        let (Some(painted), Some(schedule), Some(revision)) = (
            self.painted.clone(),
            self.summary.schedule.clone(),
            self.summary.revision,
        ) else {
            return;
        };
        let order = printed::Order {
            revision,
            painted,
            schedule,
        };
        let job = Job::start("Following the plastic", &self.waker, move |p| {
            printed::run(order, p)
        });
        self.printed.start(job);
    }

    pub(super) fn take_printed(&mut self, outcome: Outcome<Printed>) {
        match outcome {
            Outcome::Done(printed) => *self.printed = printed,
            // Not tried again until something changes.
            Outcome::Cancelled => *self.printed = Printed::none(self.summary.revision),
            Outcome::Failed(why) => {
                *self.printed = Printed::none(self.summary.revision);
                self.notices.error(why);
            }
        }
    }

    pub(super) fn take_summary(&mut self, outcome: Outcome<Summarised>) {
        match outcome {
            Outcome::Done(done) => {
                *self.summary = done.summary;
                self.groundwork = Some(done.groundwork);
            }
            // Not tried again until something changes.
            Outcome::Cancelled => self.no_summary(),
            Outcome::Failed(why) => {
                self.no_summary();
                self.notices.error(why);
            }
        }
    }

    fn no_summary(&mut self) {
        self.summary.revision = self.colouring.drawn;
        self.summary.schedule = None;
    }

    /// Whether the summary is of an earlier plan.
    pub fn summary_is_behind(&self) -> bool {
        self.summary.revision != self.doc.as_ref().map(|d| d.revision())
    }

    /// What a person should know before printing: faults of the mesh, then of the plan.
    pub fn warnings(&self) -> Vec<String> {
        let findings = self.doc.iter().flat_map(|d| d.findings.iter().cloned());
        let of_plan = plan::schedule::told(&self.summary.warnings);
        findings.chain(of_plan).collect()
    }
}
