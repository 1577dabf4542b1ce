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
        note(ui, "Updating…");
    }
    let warnings = session.warnings();
    if warnings.is_empty() {
        let p = Palette::from_ui(ui);
        ui.horizontal(|ui| {
            let (rect, _) = ui.allocate_exact_size(egui::vec2(16.0, 16.0), egui::Sense::hover());
            icon::paint(ui.painter(), rect, Icon::Sound, p.text);
            ui.label("No problems found in this plan.");
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
    let hint = "A signature covers the bytes of the saved files. Sign on the page Job; any change \
                makes the signature out of date.";
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
    heading(ui, "As printed");
    let Some(printed) = session.printed_now() else {
        note(ui, "Calculating…");
        return;
    };
    let Some(figures) = &printed.figures else {
        note(ui, "The prediction failed.");
        return;
    };
    ui.label(format!(
        "Off by a mean ΔE00 of {:.1}; 95 % of the skin within {:.1}, at most {:.1}.",
        figures.mean_de00, figures.p95_de00, figures.worst_de00
    ))
    .on_hover_text(
        "The melt chamber holds the last blend for a while, so a change comes late. You \
                    can see a difference of 1 side by side.",
    );
    ui.label(match figures.flushes {
        0 => "Nothing is flushed away.".to_owned(),
        1 => format!("{} flushed away, in one flush.", grams(figures.waste_g)),
        n => format!("{} flushed away, in {n} flushes.", grams(figures.waste_g)),
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
        format!("{} layers with several blends", totals.layers_with_changes),
    );
}
