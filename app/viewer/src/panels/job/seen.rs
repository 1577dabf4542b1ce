//! At the printer: what to watch, and the cause of what was seen.

use egui::{Grid, ScrollArea, TextEdit, Ui};

use super::super::widgets::{note, signed, warning};
use super::page::Page;
use crate::commands::Command;
use crate::model::errand::{Errand, FormFile, SeenRow};

/// Shows the steps.
pub(super) fn show(ui: &mut Ui, page: &mut Page<'_>) {
    signed(
        ui,
        "Keep fingers and sleeves away from moving parts and the hotend. Stop the printer before \
         you touch anything.",
    );
    page.step(ui, "Watch list", &[Errand::Watch], |ui, page| {
        note(
            ui,
            "Each drive's turns and filament by height, to check a print as it grows.",
        );
        let hint = "Height between two rows.";
        let every = &mut page.forms.every_mm;
        Page::amount(ui, ("A row every", " mm"), hint, (0.1, 500.0), every);
        page.file(ui, FormFile::WatchFolder);
        page.button(ui, "Write the watch list", Errand::Watch);
    });
    page.step(ui, "Photograph of the finished part", &[], |ui, page| {
        note(
            ui,
            "Reads the part's colours from photographs of it on the photograph card, beside a grey \
             card or another reference: to find a cause, and to keep as the print's record.",
        );
        if ui.button("Read a finished part…").clicked() {
            page.send.send(Command::FinishedPart);
        }
    });
    page.step(ui, "Find the cause of a bad print", &[Errand::Trace], trace);
}

fn trace(ui: &mut Ui, page: &mut Page<'_>) {
    match &page.forms.photographed {
        Some(read) => {
            let text = format!("What was read of {}: its colours by height.", read.names);
            ui.add(egui::Label::new(text).wrap());
            let doc = page.session.doc.as_ref();
            if doc.map(|d| d.revision()) != Some(read.revision) {
                warning(ui, "The plan has changed since it was read.");
            }
            if ui.button("Type what you saw, or name a file").clicked() {
                page.forms.photographed = None;
            }
        }
        None => typed(ui, page),
    }
    page.button(ui, "Find the cause", Errand::Trace);
}

/// What was seen as it is typed, or as a file has it.
fn typed(ui: &mut Ui, page: &mut Page<'_>) {
    note(
        ui,
        "What you saw: heights with turns of the drives from the start, or with a colour. Leave \
         empty what you don't know. The likeliest cause is a guess to try first, not a proof.",
    );
    let from_file = !page.forms.seen_file.trim().is_empty();
    ui.add_enabled_ui(!from_file, |ui| table(ui, page));
    page.file(ui, FormFile::SeenFile);
    note(
        ui,
        match from_file {
            true => "The file is read in place of the table above.",
            false => "Or name a file with such a table; a watch list has an empty one.",
        },
    );
    let hint = "The usual error of a colour reading. A table made from photographs says its own.";
    let error = &mut page.forms.colour_error_de00;
    Page::amount(
        ui,
        ("Colour readings are within", " ΔE00"),
        hint,
        (0.1, 50.0),
        error,
    );
}

fn table(ui: &mut Ui, page: &mut Page<'_>) {
    let doc = page.session.doc.as_ref();
    let spools = doc.map_or(0, |d| d.plan().spools.len());
    ScrollArea::horizontal().id_salt("seen").show(ui, |ui| {
        Grid::new("seen").num_columns(spools + 2).show(ui, |ui| {
            note(ui, "Height, mm");
            for i in 1..=spools {
                note(ui, format!("Turns {i}"));
            }
            note(ui, "Colour");
            ui.end_row();
            for (i, row) in page.forms.seen.iter_mut().enumerate() {
                cell(ui, format!("Height {}", i + 1), "mm", &mut row.height_mm);
                for drive in 0..spools {
                    let name = format!("Turns of drive {}, row {}", drive + 1, i + 1);
                    let mut turns = row.turns.get(drive).cloned().unwrap_or_default();
                    if cell(ui, name, "", &mut turns) {
                        row.set_turns(drive, turns);
                    }
                }
                cell(ui, format!("Colour {}", i + 1), "#rrggbb", &mut row.hex);
                ui.end_row();
            }
        });
    });
    if ui.button("+ Row").clicked() {
        page.forms.seen.push(SeenRow::of(spools));
    }
}

/// A cell of the table; whether it was changed.
fn cell(ui: &mut Ui, name: String, hint: &str, text: &mut String) -> bool {
    let field = TextEdit::singleline(text)
        .hint_text(hint)
        .desired_width(58.0);
    let response = ui.add(field);
    let enabled = ui.is_enabled();
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::WidgetType::TextEdit, enabled, name.as_str())
    });
    response.changed()
}
