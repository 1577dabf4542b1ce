//! The pages for reading photographs, of a test print and of a finished part: what to read on the
//! right, the photograph with what was found on it on the left.

mod canvas;
mod finished;
mod picture;
mod test_print;
mod views;

use egui::{ProgressBar, RichText, TextEdit, Ui, WidgetType, vec2};
use photograph::card::PLACE_NAMES;

use super::widgets::{named, note};
use crate::commands::{Command, Commands};
use crate::session::{Session, Told};

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

/// Fields for the references on the card.
fn references(ui: &mut Ui, typed: &mut [String; 3]) {
    note(
        ui,
        "Reflectance of the grey card or other reference on each place of the card; empty for none",
    );
    ui.horizontal(|ui| {
        for (place, share) in PLACE_NAMES.iter().zip(typed) {
            ui.label(*place);
            let field = TextEdit::singleline(share).desired_width(56.0);
            let response = ui.add(field);
            named(
                &response,
                WidgetType::TextEdit,
                &format!("Reference on {place}"),
            );
            response.on_hover_text("From 0.02 to 1: 0.18 for a grey card.");
            ui.add_space(6.0);
        }
    });
}

/// How far the work is, with a button to cancel it; whether there is any.
fn working(ui: &mut Ui, told: Option<Told>, cancel: Command, send: &mut Commands) -> bool {
    let Some((title, stage, fraction)) = told else {
        return false;
    };
    note(ui, format!("{title}: {stage}"));
    ui.horizontal(|ui| {
        let bar = ProgressBar::new(fraction).desired_height(10.0);
        ui.add(bar.desired_width(ui.available_width() - 80.0));
        if ui.button("Cancel").clicked() {
            send.send(cancel);
        }
    });
    true
}
