//! What is wrong or worth knowing before the part is printed.

use egui::Ui;

use super::icon::{self, Icon};
use super::widgets::{grams, heading, note, warning};
use crate::session::Session;
use crate::theme::Palette;

/// Shows the checks.
pub(super) fn show(ui: &mut Ui, session: &Session) {
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
    review(ui, session);
    ui.add_space(8.0);
    totals(ui, session);
    ui.add_space(8.0);
    printed(ui, session);
}

/// Whether somebody has signed the plan as it is.
fn review(ui: &mut Ui, session: &Session) {
    heading(ui, "Review");
    let review = &session.review;
    let hint = "A signature holds for the saved files, byte for byte. The command 'tintfall sign' gives one; any change puts it out of date.";
    ui.horizontal_wrapped(|ui| {
        let p = Palette::from_ui(ui);
        let (rect, _) = ui.allocate_exact_size(egui::vec2(16.0, 16.0), egui::Sense::hover());
        let icon = match review.approved {
            true => Icon::Sound,
            false => Icon::Warning,
        };
        icon::paint(ui.painter(), rect, icon, p.text);
        ui.label(review.words.as_str());
    })
    .response
    .on_hover_text(hint);
}

/// How far the print will be off, and what it flushes away.
fn printed(ui: &mut Ui, session: &Session) {
    heading(ui, "What comes out");
    let Some(printed) = session.printed_now() else {
        note(ui, "Being worked out…");
        return;
    };
    let Some(figures) = &printed.figures else {
        note(ui, "It could not be worked out.");
        return;
    };
    ui.label(format!(
        "Off by ΔE00 {:.1} in the mean; 95 % of the skin within {:.1}, at most {:.1}.",
        figures.mean_de00, figures.p95_de00, figures.worst_de00
    ))
    .on_hover_text("The melt chamber holds the last blend for a while, so a change comes late. A difference of 1 is just seen side by side.");
    ui.label(match figures.flushes {
        0 => "Nothing is flushed away.".to_owned(),
        1 => format!("{} flushed away, once.", grams(figures.waste_g)),
        n => format!("{} flushed away, in {n} times.", grams(figures.waste_g)),
    });
    for text in &figures.suggestions {
        note(ui, text.as_str());
    }
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
