//! What the systems of the scene share.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use bevy::prelude::{Component, Resource};

use crate::session::Session;

/// The session and what the shell keeps beside it. It stays on the main thread.
pub(super) struct Desk {
    /// The state of the window.
    pub session: Session,
}

/// The camera's entity marker.
#[derive(Component)]
pub(super) struct StageCamera;

/// What the plate is on, apart from all else, so that a picture can do without it.
pub(super) const PLATE_LAYER: usize = 1;

/// How many programs for the card are still being compiled; until then, what they draw is
/// missing.
#[derive(Resource, Clone, Default)]
pub(super) struct Compiling(Arc<AtomicUsize>);

impl Compiling {
    /// Whether there are any.
    pub(super) fn any(&self) -> bool {
        self.0.load(Ordering::Relaxed) > 0
    }

    /// Tells how many there are.
    pub(super) fn tell(&self, count: usize) {
        self.0.store(count, Ordering::Relaxed);
    }
}
