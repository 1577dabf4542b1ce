//! Agreeing on the plan with whoever has to.

use egui::{TextEdit, Ui, WidgetType};

use super::super::icon::Icon;
use super::super::widgets::{line, named, note};
use super::page::Page;
use crate::model::errand::{Errand, FormFile};
use crate::theme::Palette;

/// Shows the steps.
pub(super) fn show(ui: &mut Ui, page: &mut Page<'_>) {
    let p = Palette::from_ui(ui);
    let review = &page.session.review;
    let sign = match review.approved {
        true => Icon::Sound,
        false => Icon::Warning,
    };
    line(ui, sign, p.text, &review.words);
    page.step(ui, "Review page", &[Errand::Review], |ui, page| {
        note(
            ui,
            "One page for any browser: the part to turn, requested and as printed, with all figures.",
        );
        page.file(ui, FormFile::ReviewPage);
        record(ui, page);
        page.button(ui, "Write the review page", Errand::Review);
    });
    let errands = [Errand::Sign, Errand::SendBack];
    page.step(ui, "Sign, or send back", &errands, |ui, page| {
        note(
            ui,
            "A signature covers the bytes of the plan, the mesh, and the spool and machine files. \
             It is a note between people who trust each other, not a proof of who wrote it.",
        );
        let reviewer = &mut page.forms.reviewer;
        field(ui, "Your name", "Name of the reviewer", reviewer, 1);
        field(ui, "Note", "Note of the reviewer", &mut page.forms.note, 3);
        page.button(ui, "Approve and sign", Errand::Sign);
        page.button(ui, "Send it back", Errand::SendBack);
    });
    let errands = [Errand::Changes];
    page.step(ui, "Changes since it was signed", &errands, |ui, page| {
        page.button(ui, "List the changes", Errand::Changes);
    });
}

/// The field for the record of a print.
pub(super) fn record(ui: &mut Ui, page: &mut Page<'_>) {
    page.file(ui, FormFile::Record);
    note(
        ui,
        "Leave it empty, or name a folder that `tintfall seen` wrote: what was seen of the finished \
         part, beside what was requested.",
    );
}

fn field(ui: &mut Ui, shown: &str, name: &str, text: &mut String, rows: usize) {
    note(ui, shown);
    let room = ui.available_width();
    let field = match rows {
        1 => TextEdit::singleline(text),
        rows => TextEdit::multiline(text).desired_rows(rows),
    };
    let response = ui.add(field.desired_width(room));
    named(&response, WidgetType::TextEdit, name);
}
