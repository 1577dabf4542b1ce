//! How the plan stands with its reviewers.

use super::Session;
use crate::jobs::standing::{self, Review};
use crate::jobs::{Job, Outcome};

impl Session {
    /// What a review of the open plan would hang on.
    fn reviewed_state(&self) -> Option<standing::Of> {
        let doc = self.doc.as_ref()?;
        Some((!doc.is_unsaved()).then(|| doc.revision()))
    }

    pub(super) fn start_review(&mut self) {
        let (Some(doc), Some(of)) = (&self.doc, self.reviewed_state()) else {
            return;
        };
        if self.review.is_working() || self.review.of == Some(of) {
            return;
        }
        let order = standing::Order {
            of,
            plan_file: doc.origin.plan_file.clone(),
            saved: of.map(|_| doc.plan().clone()),
        };
        let job = Job::start("Looking for signatures", &self.waker, move |_| {
            standing::run(order)
        });
        self.review.start(job);
    }

    pub(super) fn take_review(&mut self, outcome: Outcome<Review>) {
        let of = self.reviewed_state();
        *self.review = match outcome {
            Outcome::Done(review) => review,
            Outcome::Cancelled => Review {
                of,
                ..Review::default()
            },
            // Stands where the review would, so it isn't told twice.
            Outcome::Failed(words) => Review {
                of,
                words,
                approved: false,
            },
        };
    }
}
