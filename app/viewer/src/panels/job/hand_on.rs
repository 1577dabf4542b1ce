//! Handing the plan on to the print.

use egui::{ComboBox, Ui};
use report::panel_table::Outside;

use super::super::widgets::note;
use super::agree::record;
use super::page::Page;
use crate::commands::Command;
use crate::model::errand::{Errand, FormFile};

/// What a printer does outside of its fades, in words.
const OUTSIDE: [(Outside, &str, &str); 3] = [
    (
        Outside::Unknown,
        "not known",
        "The fades then leave no gap.",
    ),
    (
        Outside::Ends,
        "the end blends",
        "Below the first fade its first blend, above the last one its last blend.",
    ),
    (
        Outside::Hold,
        "the last blend",
        "The same, and between fades the last blend of the lower one.",
    ),
];

/// Shows the steps.
pub(super) fn show(ui: &mut Ui, page: &mut Page<'_>) {
    ui.horizontal_wrapped(|ui| {
        for (name, command) in [
            ("Schedule and sheet…", Command::Prepare),
            ("Weave into your toolpath", Command::Weave),
            ("Bodies for several tools…", Command::Bodies),
        ] {
            if ui.button(name).clicked() {
                page.send.send(command);
            }
        }
    });
    page.step(ui, "Table to key in", &[Errand::KeyIn], key_in);
    page.step(ui, "Write a hand-off", &[Errand::HandOff], |ui, page| {
        note(
            ui,
            "All that the print step needs, with a manifest: schedules, sheet, review page, open \
             formats, the plan with its files and signatures.",
        );
        page.file(ui, FormFile::HandOff);
        record(ui, page);
        needs_review(ui, page);
        page.button(ui, "Write the hand-off", Errand::HandOff);
    });
    let errands = [Errand::CheckHandOff];
    page.step(ui, "Check a hand-off", &errands, |ui, page| {
        note(
            ui,
            "Every file against the manifest, and everything worked out again from the plan.",
        );
        page.file(ui, FormFile::Received);
        needs_review(ui, page);
        page.button(ui, "Check the hand-off", Errand::CheckHandOff);
    });
}

fn needs_review(ui: &mut Ui, page: &mut Page<'_>) {
    ui.checkbox(
        &mut page.forms.needs_review,
        "Only if the plan is signed as it is",
    )
    .on_hover_text("Refuse unless somebody has approved this version of the plan.");
}

fn key_in(ui: &mut Ui, page: &mut Page<'_>) {
    note(
        ui,
        "For firmwares that take only fades between two heights and a few stored blends.",
    );
    let hint = "Fades, each with a start and an end height, that the firmware takes.";
    Page::count(ui, "Fades", hint, 64, &mut page.forms.fades);
    let hint = "Blends that the firmware stores.";
    Page::count(ui, "Stored blends", hint, 64, &mut page.forms.stored);
    let of = OUTSIDE.iter().find(|(o, _, _)| *o == page.forms.outside);
    ui.horizontal(|ui| {
        let label = ui.label("Outside of fades it prints");
        ComboBox::from_id_salt("outside")
            .selected_text(of.map_or("", |(_, name, _)| *name))
            .show_ui(ui, |ui| {
                for (outside, name, about) in OUTSIDE {
                    ui.selectable_value(&mut page.forms.outside, outside, name)
                        .on_hover_text(about);
                }
            })
            .response
            .labelled_by(label.id);
    });
    page.file(ui, FormFile::KeyIn);
    page.button(ui, "Make the table", Errand::KeyIn);
}
