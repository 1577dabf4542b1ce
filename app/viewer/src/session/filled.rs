//! What is worked out in the background, beside the job that fills it.

use std::ops::{Deref, DerefMut};

use crate::jobs::{Job, Outcome};

/// A value, and the job that will bring the next one. Read it as the value itself.
pub struct Filled<T, J = T> {
    value: T,
    job: Option<Job<J>>,
}

impl<T: Default, J> Default for Filled<T, J> {
    fn default() -> Self {
        Self {
            value: T::default(),
            job: None,
        }
    }
}

impl<T, J> Deref for Filled<T, J> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.value
    }
}

impl<T, J> DerefMut for Filled<T, J> {
    fn deref_mut(&mut self) -> &mut T {
        &mut self.value
    }
}

impl<T, J: Send + 'static> Filled<T, J> {
    /// Starts a job; one that is still running is cancelled.
    pub fn start(&mut self, job: Job<J>) {
        self.job = Some(job);
    }

    /// Cancels the job.
    pub fn leave(&mut self) {
        self.job = None;
    }

    /// The running job.
    pub fn job(&self) -> Option<&Job<J>> {
        self.job.as_ref()
    }

    /// Whether a job is running.
    pub fn is_working(&self) -> bool {
        self.job.is_some()
    }

    /// How the job ended, once it has.
    pub fn poll(&mut self) -> Option<Outcome<J>> {
        poll(&mut self.job)
    }
}

/// How a job ended, once it has; it is then gone.
pub(super) fn poll<T: Send + 'static>(job: &mut Option<Job<T>>) -> Option<Outcome<T>> {
    let outcome = job.as_mut()?.poll()?;
    *job = None;
    Some(outcome)
}
