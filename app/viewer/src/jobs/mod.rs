//! Work that takes longer than a frame: each job runs on a thread of its own, tells how far
//! it is, can be cancelled, and leaves its result where the window picks it up.

pub mod bodies;
pub mod colours;
pub mod dirty;
pub mod errands;
pub mod finished_part;
pub mod flat_colours;
pub mod follow;
pub mod load;
pub mod own_colours;
pub mod patch;
pub mod photograph;
pub mod picture_file;
pub mod prepare;
pub mod printed;
pub mod read_back;
pub mod repaint;
pub mod section;
pub mod sketch;
pub mod skin;
pub mod spool_file;
pub mod standing;
pub mod summary;
pub mod thumbnails;
pub mod toolpath_file;
pub mod trying;
pub mod view_copy;
pub mod watching;
pub mod weave;

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};

use geometry::{Cancelled, Progress};
use project::job::JobError;

/// Wakes the window, which sleeps while nothing happens.
#[derive(Clone)]
pub struct Waker(Arc<dyn Fn() + Send + Sync>);

impl Waker {
    /// From what wakes the event loop.
    pub fn new(wake: impl Fn() + Send + Sync + 'static) -> Self {
        Self(Arc::new(wake))
    }

    /// Wakes the window.
    pub fn wake(&self) {
        (self.0)();
    }
}

impl Default for Waker {
    /// Wakes nobody: for tests, which poll.
    fn default() -> Self {
        Self::new(|| ())
    }
}

/// How a job ended.
#[derive(Debug)]
pub enum Outcome<T> {
    /// With a result.
    Done(T),
    /// It was cancelled.
    Cancelled,
    /// It could not do it; the text says why and what to do.
    Failed(String),
}

/// Why a job gives no result.
#[derive(Debug)]
pub enum Stop {
    /// It was cancelled.
    Cancelled,
    /// For a reason that the person at the window should read.
    Failed(String),
}

impl From<Cancelled> for Stop {
    fn from(_: Cancelled) -> Self {
        Self::Cancelled
    }
}

impl From<JobError> for Stop {
    fn from(error: JobError) -> Self {
        match error {
            JobError::Cancelled(_) => Self::Cancelled,
            error => Self::failed(&error),
        }
    }
}

impl Stop {
    /// From an error, with the errors beneath it.
    pub fn failed(error: &dyn std::error::Error) -> Self {
        Self::Failed(with_causes(error))
    }
}

/// An error's text followed by those of its causes, where these add something.
pub fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        let more = inner.to_string();
        if !text.contains(&more) {
            text.push_str(": ");
            text.push_str(&more);
        }
        cause = inner.source();
    }
    text
}

/// A running job that will give a `T`. Dropping it cancels it.
pub struct Job<T> {
    title: String,
    progress: Progress,
    result: Receiver<Outcome<T>>,
}

impl<T: Send + 'static> Job<T> {
    /// Starts work on a thread of its own.
    pub fn start(
        title: impl Into<String>,
        waker: &Waker,
        work: impl FnOnce(&Progress) -> Result<T, Stop> + Send + 'static,
    ) -> Self {
        let (send, result) = channel();
        let progress = Progress::new();
        let (waker, seen) = (waker.clone(), progress.clone());
        std::thread::spawn(move || {
            // A defect in the work must not take the window, and unsaved work, with it.
            let outcome = match catch_unwind(AssertUnwindSafe(|| work(&seen))) {
                Ok(Ok(done)) => Outcome::Done(done),
                Ok(Err(Stop::Cancelled)) => Outcome::Cancelled,
                Ok(Err(Stop::Failed(why))) => Outcome::Failed(why),
                Err(panic) => Outcome::Failed(panic_text(panic.as_ref())),
            };
            // The window may have stopped caring.
            let _ = send.send(outcome);
            waker.wake();
        });
        Self {
            title: title.into(),
            progress,
            result,
        }
    }

    /// The result, once there is one; ask until it comes.
    pub fn poll(&mut self) -> Option<Outcome<T>> {
        match self.result.try_recv() {
            Ok(outcome) => Some(outcome),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Outcome::Cancelled),
        }
    }

    /// Waits for the result.
    pub fn wait(self) -> Outcome<T> {
        self.result.recv().unwrap_or(Outcome::Cancelled)
    }

    /// What it is doing, in words.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Its progress.
    pub fn progress(&self) -> &Progress {
        &self.progress
    }
}

impl<T> Drop for Job<T> {
    fn drop(&mut self) {
        self.progress.cancel();
    }
}

fn panic_text(panic: &(dyn Any + Send)) -> String {
    let said = panic
        .downcast_ref::<&str>()
        .map(|s| (*s).to_owned())
        .or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_default();
    format!("A fault in Tintfall stopped this; your plan is unchanged. {said}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_gives_its_result_and_a_cancelled_one_none() {
        let job = Job::start("add", &Waker::default(), |_| Ok(1 + 1));
        assert!(matches!(job.wait(), Outcome::Done(2)));

        let job = Job::<()>::start("wait", &Waker::default(), |progress| {
            loop {
                progress.check()?;
                std::thread::yield_now();
            }
        });
        job.progress().cancel();
        assert!(matches!(job.wait(), Outcome::Cancelled));
    }

    #[test]
    fn a_fault_in_a_job_becomes_a_message() {
        let job = Job::<()>::start("fault", &Waker::default(), |_| panic!("index 7"));
        match job.wait() {
            Outcome::Failed(text) => assert!(text.contains("index 7")),
            other => panic!("{other:?}"),
        }
    }
}
