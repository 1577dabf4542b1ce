//! One frame of the window, without a window: what jobs have finished is taken, keys and panels
//! send commands, the commands are applied.

use std::time::Instant;

use egui::Ui;

use crate::commands::Commands;
use crate::panels;
use crate::session::Session;
use crate::theme;

/// Draws the window and does what was asked for in it.
pub fn frame(ui: &mut Ui, session: &mut Session) {
    theme::add_fonts(ui.ctx());
    if let Some(again) = session.tick(Instant::now()) {
        ui.ctx().request_repaint_after(again);
    }
    let mut commands = Commands::default();
    panels::keys(ui, session, &mut commands);
    apply(ui, session, &mut commands);
    panels::window(ui, session, &mut commands);
    apply(ui, session, &mut commands);
}

fn apply(ui: &Ui, session: &mut Session, commands: &mut Commands) {
    for command in commands.take() {
        // What was drawn already in this frame shows what was before.
        if session.apply(command) {
            ui.ctx().request_repaint();
        }
    }
}
