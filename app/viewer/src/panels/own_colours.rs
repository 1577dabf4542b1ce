//! The colours that a model has of its own, on the part's page.

use egui::{Button, RichText, Ui, vec2};

use super::widgets::{grams, heading, note};
use crate::commands::{Command, Commands};
use crate::session::Session;

/// Shows what can be made of them.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    if !session.may_have_own_colours() {
        return;
    }
    ui.add_space(8.0);
    heading(ui, "The model's own colours");
    note(
        ui,
        "Makes regions of the file's colours, each with the blend that comes nearest to it. They \
         take the place of all regions.",
    );
    let command = Command::OwnColours(None);
    let make = ui.add_enabled(session.can(&command), Button::new("Make regions of them"));
    let hint =
        "As many blends as are worth it: a further one has to bring half a ΔE00 of the mean.";
    if make
        .on_hover_text(hint)
        .on_disabled_hover_text(hint)
        .clicked()
    {
        send.send(command);
    }
    let Some(found) = session.own_colours.as_ref() else {
        return;
    };
    note(
        ui,
        "Number of blends: mean ΔE00 without details too fine to print; purge, an upper estimate. \
         Click one to take it.",
    );
    for row in found.chosen.rows() {
        let on = row.blends == found.blends;
        let mut text = format!(
            "{}: mean ΔE00 {:.1}; {}, {:.0} min",
            row.blends,
            row.smoothed_de00,
            grams(row.purge_g),
            row.purge_minutes
        );
        if row.blends == found.chosen.recommended() {
            text.push_str(" (recommended)");
        }
        let room = vec2(ui.available_width(), 0.0);
        let button = Button::new(RichText::new(text)).wrap().selected(on);
        let command = Command::OwnColours(Some(row.blends));
        let can = session.can(&command);
        if ui.add_enabled(can, button.min_size(room)).clicked() && !on {
            send.send(command);
        }
    }
}
