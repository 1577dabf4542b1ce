//! What the systems of the scene share.

use bevy::prelude::Component;

use crate::session::Session;

/// The session and what the shell keeps beside it. It stays on the main thread.
pub(super) struct Desk {
    /// The state of the window.
    pub session: Session,
}

/// The camera's entity marker.
#[derive(Component)]
pub(super) struct StageCamera;
