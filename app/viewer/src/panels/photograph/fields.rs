//! What the pages for photographs share beside the picture.

use egui::{ProgressBar, TextEdit, Ui, WidgetType};
use photograph::card::PLACE_NAMES;

use super::super::widgets::{named, note};
use crate::commands::{Command, Commands};
use crate::session::Told;

/// Fields for the references on the card.
pub(super) fn references(ui: &mut Ui, typed: &mut [String; 3]) {
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
pub(super) fn working(
    ui: &mut Ui,
    told: Option<Told>,
    cancel: Command,
    send: &mut Commands,
) -> bool {
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
