//! The row of buttons at the foot of a page.

use egui::Ui;

use super::widgets::main_button;
use crate::commands::{Command, Commands};

/// The button that does it and the one that leaves it; whether the first was pressed.
pub(super) fn actions_row(
    ui: &mut Ui,
    send: &mut Commands,
    name: &str,
    can: bool,
    leave: &str,
) -> bool {
    let mut go = false;
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        go = main_button(ui, name, can).clicked();
        if ui.button(leave).clicked() {
            send.send(Command::ClosePage);
        }
    });
    go
}
