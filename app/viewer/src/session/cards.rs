//! The demonstrations on the start page.

use super::Session;
use crate::jobs::{Job, Outcome, thumbnails};

impl Session {
    /// Whether the demonstrations' pictures are being drawn. Nothing waits for them.
    pub fn is_drawing_cards(&self) -> bool {
        self.cards.is_working()
    }

    /// Whether their pictures are still to be drawn. Not while a part is being opened: then
    /// they are not seen at all.
    pub fn lacks_cards(&self) -> bool {
        !self.cards_begun && self.loading.is_none()
    }

    /// Draws the demonstrations' pictures, unless that was done.
    pub(super) fn draw_cards(&mut self) {
        if !self.lacks_cards() {
            return;
        }
        self.cards_begun = true;
        if self.cards.is_empty() {
            match thumbnails::blank() {
                Ok(cards) => *self.cards = cards,
                Err(why) => self.notices.error(why),
            }
        }
        let job = Job::start("Drawing the demonstrations", &self.waker, thumbnails::run);
        self.cards.start(job);
    }

    /// Leaves off drawing: a part is being opened, and wants the processor.
    pub(super) fn leave_cards(&mut self) {
        if self.cards.is_working() {
            self.cards.leave();
            self.cards_begun = false;
        }
    }

    pub(super) fn take_cards(&mut self) {
        match self.cards.poll() {
            Some(Outcome::Done(cards)) => *self.cards = cards,
            Some(Outcome::Failed(why)) => self.notices.error(why),
            Some(Outcome::Cancelled) | None => {}
        }
    }
}
