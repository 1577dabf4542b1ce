//! The selected region's area as a whole: grown, shrunk, inverted, with a smoother edge.

use egui::Ui;

use super::shortcuts;
use super::widgets::{Number, heading};
use crate::commands::{Command, Commands};
use crate::model::tool::SMOOTH_RANGE_MM;
use crate::session::Session;

/// Shows what can be done with it; nothing for the base, which covers the whole part.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    if session.chosen.region.is_none_or(|region| region == 0) {
        return;
    }
    ui.add_space(10.0);
    heading(ui, "Area");
    ui.horizontal_wrapped(|ui| {
        for (name, command) in [
            ("Grow", Command::Grow(0.5)),
            ("Shrink", Command::Grow(-0.5)),
            ("Invert", Command::Invert),
        ] {
            act(ui, session, name, command, send);
        }
    });
    ui.horizontal_wrapped(|ui| {
        act(ui, session, "Smooth the edge", Command::Smooth, send);
        ui.label("by");
        let length = Number {
            range: SMOOTH_RANGE_MM,
            speed: 0.05,
            decimals: 1,
            unit: " mm",
            width: Some(72.0),
        };
        let hint = "What is narrower than half of this goes, and corners become round.";
        length
            .show(ui, "Smooth the edge by", hint, session.tools.smooth_mm)
            .set(send, Command::SmoothBy);
    });
}

fn act(ui: &mut Ui, session: &Session, name: &str, command: Command, send: &mut Commands) {
    let can = session.can(&command);
    let button = ui.add_enabled(can, egui::Button::new(name));
    if button.on_hover_text(shortcuts::hint(&command)).clicked() {
        send.send(command);
    }
}
