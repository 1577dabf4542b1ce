//! The pages for reading photographs, of a test print and of a finished part: what to read on the
//! right, the photograph with what was found on it on the left.

mod canvas;
mod fields;
mod finished;
mod picture;
mod test_print;
mod views;

use egui::{RichText, Ui, vec2};

use super::widgets::note;
use crate::commands::{Command, Commands};
use crate::session::Session;

/// The least width of what stands beside the picture, points.
const COLUMN: f32 = 420.0;
const GAP: f32 = 14.0;

/// What was photographed.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Of {
    /// A test print.
    TestPrint,
    /// The finished part.
    FinishedPart,
}

/// Shows the page.
pub(super) fn show(ui: &mut Ui, session: &Session, of: Of, fresh: bool, send: &mut Commands) {
    let room = ui.available_size();
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 0.0;
        let most = vec2((room.x - COLUMN - GAP).max(160.0), room.y);
        match of {
            Of::TestPrint => picture::show(ui, session, most, send),
            Of::FinishedPart => views::show(ui, session, most, send),
        }
        ui.add_space(GAP);
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.x = 8.0;
            ui.set_width(ui.available_width());
            ui.set_height(room.y);
            choices(ui, session, of, send);
            match of {
                Of::TestPrint => test_print::column(ui, session, fresh, send),
                Of::FinishedPart => finished::column(ui, session, fresh, send),
            }
        });
    });
}

/// What was photographed, to choose.
fn choices(ui: &mut Ui, session: &Session, of: Of, send: &mut Commands) {
    ui.horizontal(|ui| {
        note(ui, "What was photographed");
        for (which, name, command) in [
            (Of::TestPrint, "Test print", Command::Photograph),
            (Of::FinishedPart, "Finished part", Command::FinishedPart),
        ] {
            let can = session.can(&command);
            let label = egui::Button::selectable(of == which, RichText::new(name));
            let response = ui.add_enabled(can, label);
            let response = response.on_disabled_hover_text("Open the plan that was printed first.");
            if response.clicked() && of != which {
                send.send(command);
            }
        }
    });
}
