//! Work that a person sees.

use crate::jobs::Job;

/// Work that a person sees: its title, its stage, and how far it is.
pub type Told = (String, String, f32);

pub(super) fn told_of<T: Send + 'static>(job: &Job<T>) -> Told {
    let (stage, fraction) = job.progress().seen();
    (job.title().to_owned(), stage, fraction)
}
