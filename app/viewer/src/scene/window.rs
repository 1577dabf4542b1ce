//! The system's window: its title, and what happens when it is closed.

use bevy::prelude::*;
use bevy::window::{PrimaryWindow, WindowCloseRequested};

use super::desk::Desk;
use crate::commands::Command;

/// Writes the title when it changes.
pub(super) fn set_title(desk: NonSend<Desk>, mut windows: Query<&mut Window, With<PrimaryWindow>>) {
    let title = desk.session.title();
    for mut window in &mut windows {
        if window.title != title {
            window.title.clone_from(&title);
        }
    }
}

/// Asks before unsaved work is lost; leaves when the session says so.
pub(super) fn close(
    mut asked: MessageReader<WindowCloseRequested>,
    mut desk: NonSendMut<Desk>,
    mut exit: MessageWriter<AppExit>,
) {
    if asked.read().count() > 0 {
        desk.session.apply(Command::Quit);
    }
    if desk.session.quits() {
        exit.write(AppExit::Success);
    }
}
