//! The page for photographs of the finished part: what to read, what came of it, and where to go
//! on with it.

use calibrate::finished::reading::{EVERY_MM, Shown};
use egui::{
    Align, CollapsingHeader, ComboBox, Grid, Layout, RichText, ScrollArea, TextEdit, Ui,
    WidgetType, vec2,
};
use project::record::{MOST_PHOTOGRAPHS, Row};

use super::super::icon::Icon;
use super::super::sliced::file_field;
use super::super::widgets::{
    self, Number, heading, icon_button, main_button, named, note, signed, warning,
};
use super::fields::{references, working};
use crate::commands::{Browse, Command, Commands};
use crate::jobs::finished_part::SeenPart;
use crate::model::finished_form::{FinishedFile, FinishedForm, PhotoRow, RESTS};
use crate::model::names::file_name;
use crate::session::Session;

/// Width of a region's name, points: a longer one is cut, and shown in full under the pointer.
const REGION: f32 = 92.0;

/// Shows what stands beside the pictures.
pub(super) fn column(ui: &mut Ui, session: &Session, fresh: bool, send: &mut Commands) {
    let before = &session.finished.form;
    let mut form = before.clone();
    ScrollArea::vertical()
        .id_salt("finished part")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            plan(ui, session, send);
            photos(ui, &mut form, fresh, send);
            references(ui, &mut form.references);
            how(ui, &mut form);
            ui.add_space(4.0);
            read_row(ui, session, send);
            if let Some(why) = &session.finished.trouble {
                warning(ui, why.as_str());
            }
            match session.finished.read() {
                Some(seen) => read(ui, session, seen, &mut form, send),
                None if session.finished.shown().is_some() => {
                    note(ui, "Changed since it was read: read it again.");
                }
                None => {}
            }
        });
    if form != *before {
        send.send(Command::SetFinishedForm(Box::new(form)));
    }
}

/// The plan that was printed: the one that is open, as its file has it.
fn plan(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let file = session
        .doc
        .as_ref()
        .and_then(|d| d.origin.plan_file.as_ref());
    match file {
        Some(file) if session.is_saved() => {
            note(ui, format!("Plan that was printed: {}", file_name(file)));
        }
        _ => {
            note(
                ui,
                "This is about the saved plan: save it first, as it was printed.",
            );
            if ui.button("Save the plan").clicked() {
                send.send(Command::Save);
            }
        }
    }
}

fn photos(ui: &mut Ui, form: &mut FinishedForm, fresh: bool, send: &mut Commands) {
    note(ui, "Photographs, and about how the part is turned in each");
    let several = form.photos.len() > 1;
    let mut gone = None;
    for (i, row) in form.photos.iter_mut().enumerate() {
        if photo(ui, (i, row), fresh && i == 0, several, send) {
            gone = Some(i);
        }
    }
    if let Some(i) = gone {
        form.remove(i);
    }
    let can = form.photos.len() < MOST_PHOTOGRAPHS;
    let more = ui.add_enabled(can, egui::Button::new("+ Photograph"));
    if more
        .on_hover_text("Another side of the part. What all of them show is joined.")
        .clicked()
    {
        form.photos.push(PhotoRow::default());
    }
}

/// The row of a photograph; whether it is to go.
fn photo(
    ui: &mut Ui,
    (i, row): (usize, &mut PhotoRow),
    fresh: bool,
    several: bool,
    send: &mut Commands,
) -> bool {
    let of = FinishedFile::Photo(i);
    let name = of.name();
    let mut gone = false;
    let line = vec2(ui.available_width(), ui.spacing().interact_size.y);
    let from_right = Layout::right_to_left(Align::Center);
    ui.allocate_ui_with_layout(line, from_right, |ui| {
        if several {
            let remove = format!("Remove {}", name.to_lowercase());
            let hint = "Take this photograph off the list.";
            gone = icon_button(ui, Icon::Close, &remove, hint).clicked();
        }
        ui.label("°");
        let turn = TextEdit::singleline(&mut row.turn).desired_width(38.0);
        let turn = ui.add(turn);
        let turn_name = format!("Turn in {}", name.to_lowercase());
        named(&turn, WidgetType::TextEdit, &turn_name);
        ui.label("turned");
        turn.on_hover_text(
            "About how the part is turned, degrees counter-clockwise from above; 0 with its front \
             towards the card's lower edge. Leave it empty where the outline tells.",
        );
        let hint = "Choose with the system's own dialog.";
        if ui.button("Choose…").on_hover_text(hint).clicked() {
            send.send(Command::Browse(Browse::Finished(of)));
        }
        let file = TextEdit::singleline(&mut row.file).desired_width(ui.available_width());
        let file = ui.add(file);
        named(&file, WidgetType::TextEdit, &name);
        if fresh {
            file.request_focus();
        }
        if !row.file.trim().is_empty() {
            file.on_hover_text(row.file.trim());
        }
    });
    gone
}

/// What it lies on, and how much height is read together.
fn how(ui: &mut Ui, form: &mut FinishedForm) {
    ui.horizontal(|ui| {
        let label = ui.label("It rests on");
        let now = RESTS.iter().find(|(rest, _)| *rest == form.rest);
        ComboBox::from_id_salt("rests on")
            .selected_text(now.map_or("", |(_, name)| name))
            .width(180.0)
            .show_ui(ui, |ui| {
                for (rest, name) in RESTS {
                    ui.selectable_value(&mut form.rest, rest, name);
                }
            })
            .response
            .labelled_by(label.id);
        ui.label("Every");
        let number = Number {
            range: (*EVERY_MM.start(), *EVERY_MM.end()),
            speed: 0.05,
            decimals: 1,
            unit: " mm",
            width: None,
        };
        let hint = "Height that is read together.";
        let turned = number.show(ui, "Height read together", hint, form.every_mm);
        form.every_mm = turned.to.unwrap_or(form.every_mm);
    });
}

/// The button that reads, or how far that is.
fn read_row(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let finished = &session.finished;
    if working(ui, finished.told(), Command::CancelFinished, send) {
        return;
    }
    let name = match finished.form.photos.len() {
        1 => "Read the photograph",
        _ => "Read the photographs",
    };
    if main_button(ui, name, session.can(&Command::ReadFinished)).clicked() {
        send.send(Command::ReadFinished);
    }
}

/// What was read, and what to do with it.
fn read(
    ui: &mut Ui,
    session: &Session,
    seen: &SeenPart,
    form: &mut FinishedForm,
    send: &mut Commands,
) {
    let told = seen.record.told();
    if let Some(told) = &told {
        ui.add(egui::Label::new(RichText::new(told).strong()).wrap());
    }
    let doc = session.doc.as_ref();
    if doc.map(|d| d.revision()) != Some(seen.revision) {
        warning(ui, "The plan has changed since it was read.");
    }
    let several = seen.reading.shown.len() > 1;
    for Shown { name, part, .. } in &seen.reading.shown {
        for text in &part.warnings {
            warning(ui, in_photo(several, name, text));
        }
    }
    go_on(ui, session, form, send);
    CollapsingHeader::new(RichText::new("How it was found").small())
        .id_salt("how it was found")
        .show(ui, |ui| {
            for Shown { name, part, .. } in &seen.reading.shown {
                for text in &part.found {
                    note(ui, in_photo(several, name, text));
                }
            }
        });
    list(ui, seen);
}

/// What is said of a photograph, with its name where there are several.
fn in_photo(several: bool, name: &str, text: &str) -> String {
    match several {
        true => format!("{name}: {text}"),
        false => text.to_owned(),
    }
}

/// Tracing, and the record to write.
fn go_on(ui: &mut Ui, session: &Session, form: &mut FinishedForm, send: &mut Commands) {
    ui.add_space(4.0);
    let trace = main_button(ui, "Find the cause", session.can(&Command::TraceFinished));
    if trace
        .on_hover_text("Look for what went wrong in the print, by these colours.")
        .clicked()
    {
        send.send(Command::TraceFinished);
    }
    note(ui, FinishedFile::Folder.name());
    let hint = "Choose with the system's own dialog.";
    if file_field(ui, &mut form.folder, &FinishedFile::Folder.name(), hint) {
        send.send(Command::Browse(Browse::Finished(FinishedFile::Folder)));
    }
    let there = form.record_folder().is_some_and(|folder| folder.is_dir());
    let written = session.record_to_prepare();
    ui.horizontal(|ui| {
        let name = match there {
            true => "Replace the record",
            false => "Write the record",
        };
        let can = session.can(&Command::WriteRecord);
        if ui.add_enabled(can, egui::Button::new(name)).clicked() {
            send.send(Command::WriteRecord);
        }
        if written.is_some() && ui.button("Prepare with it…").clicked() {
            send.send(Command::Prepare);
        }
    });
    if let Some(folder) = written {
        ui.label(RichText::new(format!("Wrote {}", folder.display())).strong());
        note(
            ui,
            "The review page, the hand-off and preparing now take this record along.",
        );
    }
}

/// What was read by region and height.
fn list(ui: &mut Ui, seen: &SeenPart) {
    ui.add_space(4.0);
    heading(ui, "What was read");
    signed(ui, "Expect errors of a few ΔE00; a colorimeter is better.");
    note(
        ui,
        "ΔE00 is of seen against as printed; ± is one standard error. Bold: off by more than two.",
    );
    let record = &seen.record.record;
    Grid::new("read of the part")
        .num_columns(7)
        .striped(true)
        .min_row_height(18.0)
        .spacing([10.0, 3.0])
        .show(ui, |ui| {
            for title in [
                "Region",
                "Height",
                "Requested",
                "As printed",
                "Seen",
                "ΔE00",
                "±",
            ] {
                note(ui, title);
            }
            ui.end_row();
            for row in &record.rows {
                let region = record.regions.get(row.region);
                cells(ui, region.map_or("", String::as_str), row);
                ui.end_row();
            }
        });
}

fn cells(ui: &mut Ui, region: &str, row: &Row) {
    let off = row.off_printed_de00();
    ui.scope(|ui| {
        ui.set_width(REGION);
        ui.add(egui::Label::new(region).truncate());
    });
    ui.label(format!("{:.1} mm", row.height_mm));
    for lab in [row.requested, row.printed, row.seen] {
        widgets::swatch(ui, lab.to_xyz().to_srgb(), vec2(40.0, 16.0));
    }
    let text = RichText::new(format!("{off:.1}"));
    ui.label(match off > 2.0 * row.uncertainty_de00 {
        true => text.strong(),
        false => text,
    });
    note(ui, format!("{:.1}", row.uncertainty_de00));
}
