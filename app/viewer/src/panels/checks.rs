//! What is wrong or worth knowing before the part is printed.

use egui::Ui;

use super::icon::{self, Icon};
use super::widgets::{heading, note, warning};
use crate::state::Session;
use crate::theme::Palette;

/// Shows the checks.
pub fn show(ui: &mut Ui, session: &mut Session) {
    heading(ui, "Checks");
    if session.summary_is_behind() {
        note(ui, "Being worked out again…");
    }
    let warnings = session.warnings();
    if warnings.is_empty() {
        let p = Palette::from_ui(ui);
        ui.horizontal(|ui| {
            let (rect, _) = ui.allocate_exact_size(egui::vec2(16.0, 16.0), egui::Sense::hover());
            icon::paint(ui.painter(), rect, Icon::Sound, p.text);
            ui.label("Nothing stands against printing this plan.");
        });
    }
    for text in warnings {
        warning(ui, text);
        ui.add_space(4.0);
    }
    ui.add_space(8.0);
    totals(ui, session);
}

fn totals(ui: &mut Ui, session: &Session) {
    let summary = &session.summary;
    let Some(totals) = &summary.totals else {
        return;
    };
    heading(ui, "The print");
    note(ui, format!("{} layers", totals.layers));
    note(ui, format!("{} changes of blend", totals.blend_changes));
    note(
        ui,
        format!(
            "{} layers within which it changes",
            totals.layers_with_changes
        ),
    );
}
