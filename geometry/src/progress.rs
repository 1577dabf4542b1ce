//! A handle through which long work tells how far it is and learns that it should stop.

use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};

/// The work was cancelled; nothing of it remains.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cancelled")]
pub struct Cancelled;

/// A shared handle: the worker reports stages and fractions, any holder may cancel.
///
/// ```
/// use geometry::Progress;
/// let progress = Progress::new();
/// progress.stage("Slicing");
/// progress.set(0.5);
/// assert_eq!(progress.seen(), ("Slicing".to_owned(), 0.5));
/// progress.cancel();
/// assert!(progress.check().is_err());
/// ```
#[derive(Clone, Debug, Default)]
pub struct Progress(Arc<State>);

#[derive(Debug, Default)]
struct State {
    stage: Mutex<String>,
    /// Fraction of the stage as `f32` bits.
    fraction: AtomicU32,
    cancelled: AtomicBool,
}

impl Progress {
    /// A fresh handle, at no stage, not cancelled.
    pub fn new() -> Self {
        Self::default()
    }

    /// Begins a stage, named in words a person reads, at fraction 0.
    pub fn stage(&self, name: &str) {
        if let Ok(mut stage) = self.0.stage.lock() {
            stage.clear();
            stage.push_str(name);
        }
        self.set(0.0);
    }

    /// Sets the fraction of the present stage, in `0..=1`.
    pub fn set(&self, fraction: f32) {
        self.0
            .fraction
            .store(fraction.clamp(0.0, 1.0).to_bits(), Ordering::Relaxed);
    }

    /// The stage and its fraction, for a progress bar.
    pub fn seen(&self) -> (String, f32) {
        let stage = self.0.stage.lock().map(|s| s.clone()).unwrap_or_default();
        (
            stage,
            f32::from_bits(self.0.fraction.load(Ordering::Relaxed)),
        )
    }

    /// Hands the stage's name to whoever must not ask for memory; nothing if it is being set.
    pub fn with_stage(&self, tell: impl FnOnce(&str)) {
        if let Ok(stage) = self.0.stage.try_lock() {
            tell(&stage);
        }
    }

    /// Asks the work to stop at its next check.
    pub fn cancel(&self) {
        self.0.cancelled.store(true, Ordering::Relaxed);
    }

    /// Fails once the work should stop; call it between pieces of work.
    pub fn check(&self) -> Result<(), Cancelled> {
        match self.0.cancelled.load(Ordering::Relaxed) {
            true => Err(Cancelled),
            false => Ok(()),
        }
    }
}
