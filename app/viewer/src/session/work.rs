//! The round of each frame: what jobs have finished is taken, and those that are due begin.

use std::time::{Duration, Instant};

use geometry::Progress;

use super::Session;
use super::filled::poll;
use super::told::{Told, told_of};
use crate::jobs::Job;

fn told<T: Send + 'static>(job: Option<&Job<T>>) -> Option<Told> {
    job.map(told_of)
}

impl Session {
    /// Takes what jobs have finished and starts those that are due. Gives how long until it
    /// has to be called again though nothing happens: at once when something has come in, for
    /// what is shown of it may need another frame to find its place.
    pub fn tick(&mut self, now: Instant) -> Option<Duration> {
        let running = self.running();
        self.take_results();
        let come = (running != self.running()).then_some(Duration::ZERO);
        self.refresh_model();
        self.refresh_closest();
        self.colour_at_once();
        self.start_repaint();
        self.start_summary();
        self.start_printed();
        self.start_review();
        self.start_section();
        self.keep_following();
        self.show_purge_blocks();
        self.watch_files();
        let message = self.notices.pass(now);
        let copy = self.autosave(now);
        come.into_iter().chain(message).chain(copy).min()
    }

    /// Works until nothing is left to do: for tests and pictures.
    pub fn finish_work(&mut self) {
        loop {
            self.tick(Instant::now());
            if !self.is_working() {
                return;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn take_results(&mut self) {
        if let Some(outcome) = poll(&mut self.loading) {
            self.take_loaded(outcome);
        }
        if let Some(outcome) = poll(&mut self.colouring.repaint) {
            self.take_repainted(outcome);
        }
        if let Some(outcome) = self.summary.poll() {
            self.take_summary(outcome);
        }
        if let Some(outcome) = self.printed.poll() {
            self.take_printed(outcome);
        }
        if let Some(outcome) = self.review.poll() {
            self.take_review(outcome);
        }
        if let Some(outcome) = self.fitted.poll() {
            self.take_found_spools(outcome);
        }
        if let Some(outcome) = self.own_colours.poll() {
            self.take_own_colours(outcome);
        }
        if let Some(outcome) = self.flat_colours.poll() {
            self.take_flat_colours(outcome);
        }
        if let Some(outcome) = self.picture.poll() {
            self.take_picture(outcome);
        }
        if let Some(outcome) = self.prepared.poll() {
            self.take_prepared(outcome);
        }
        self.take_errand();
        self.take_photograph();
        self.take_finished();
        if let Some(outcome) = self.bodies.poll() {
            self.take_bodies(outcome);
        }
        if let Some(outcome) = self.bodies_written.poll() {
            self.take_written_bodies(outcome);
        }
        self.take_cards();
        self.take_section();
        self.take_view_copy();
        self.take_toolpath_results();
        self.take_sketches();
        self.take_dialog();
    }

    /// Which jobs are running, and how many sketches are being drawn.
    fn running(&self) -> ([bool; 18], usize) {
        let jobs = [
            self.loading.is_some(),
            self.colouring.repaint.is_some(),
            self.summary.is_working(),
            self.printed.is_working(),
            self.review.is_working(),
            self.fitted.is_working(),
            self.picture.is_working(),
            self.own_colours.is_working(),
            self.flat_colours.is_working(),
            self.prepared.is_working(),
            self.bodies.is_working(),
            self.bodies_written.is_working(),
            self.section.is_working(),
            self.toolpath.is_working(),
            self.errands.job.is_working(),
            self.photographs.is_working(),
            self.finished.is_working(),
            self.copying.job.is_working(),
        ];
        (jobs, self.sketches_behind())
    }

    /// Whether anything is being worked on.
    pub fn is_working(&self) -> bool {
        let (jobs, sketches) = self.running();
        let behind = self.doc.is_some()
            && (self.colouring.drawn != self.doc.as_ref().map(|d| d.revision())
                || self.summary_is_behind()
                || (self.summary.schedule.is_some() && self.printed_is_behind()));
        jobs.contains(&true) || sketches > 0 || (behind && self.tools.gesture.is_none())
    }

    /// The work to show.
    pub fn busy_with(&self) -> Option<Told> {
        told(self.loading.as_ref())
            .or_else(|| told(self.prepared.job()))
            .or_else(|| told(self.bodies.job()))
            .or_else(|| told(self.bodies_written.job()))
            .or_else(|| told(self.errands.job.job()))
            .or_else(|| self.photographs.told())
            .or_else(|| self.finished.told())
            .or_else(|| self.toolpath.told())
            .or_else(|| told(self.fitted.job()))
            .or_else(|| told(self.picture.job()))
            .or_else(|| told(self.copying.job.job()))
            .or_else(|| told(self.own_colours.job()))
            .or_else(|| told(self.flat_colours.job()))
            .or_else(|| told(self.colouring.repaint.as_ref()))
            .or_else(|| told(self.summary.job()))
            .or_else(|| told(self.printed.job()))
    }

    /// Stops the work that is shown. Work that keeps the stage up to date starts again by
    /// itself when something changes.
    pub(super) fn stop_work(&mut self) {
        fn of<T: Send + 'static>(job: Option<&Job<T>>) -> Option<&Progress> {
            job.map(Job::progress)
        }
        let shown = of(self.loading.as_ref())
            .or_else(|| of(self.prepared.job()))
            .or_else(|| of(self.bodies.job()))
            .or_else(|| of(self.bodies_written.job()))
            .or_else(|| of(self.errands.job.job()))
            .or_else(|| self.photographs.progress())
            .or_else(|| self.finished.progress())
            .or_else(|| self.toolpath.progress())
            .or_else(|| of(self.fitted.job()))
            .or_else(|| of(self.picture.job()))
            .or_else(|| of(self.copying.job.job()))
            .or_else(|| of(self.own_colours.job()))
            .or_else(|| of(self.flat_colours.job()))
            .or_else(|| of(self.colouring.repaint.as_ref()));
        if let Some(progress) = shown {
            progress.cancel();
        }
    }
}
