//! The page for a photograph of a test print: what to read, and what came of it.

use egui::{Grid, RichText, ScrollArea, Ui, vec2};

use super::super::sliced::fresh_file_field;
use super::super::widgets::{self, heading, main_button, note, signed, warning};
use super::fields::{references, working};
use crate::commands::{Browse, Command, Commands};
use crate::jobs::photograph::{Readings, SeenPhoto};
use crate::model::photo_form::{PhotoFile, PhotoForm};
use crate::session::Session;

/// Shows what stands beside the picture.
pub(super) fn column(ui: &mut Ui, session: &Session, fresh: bool, send: &mut Commands) {
    let before = &session.photographs.form;
    let mut form = before.clone();
    field(ui, PhotoFile::Photo, &mut form, fresh, send);
    field(ui, PhotoFile::Plan, &mut form, false, send);
    references(ui, &mut form.references);
    ui.add_space(4.0);
    read_row(ui, session, send);
    outcome(ui, session);
    if let Some(seen) = session.photographs.shown()
        && let Ok(readings) = &seen.read
    {
        write(ui, session, readings, &mut form, send);
        list(ui, readings);
    }
    if form != *before {
        send.send(Command::SetPhotoForm(Box::new(form)));
    }
}

fn field(ui: &mut Ui, of: PhotoFile, form: &mut PhotoForm, fresh: bool, send: &mut Commands) {
    note(ui, of.name());
    let hint = "Choose with the system's own dialog.";
    if fresh_file_field(ui, of.field(form), (of.name(), hint), fresh) {
        send.send(Command::Browse(Browse::Photo(of)));
    }
}

/// The button that reads, or how far that is.
fn read_row(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let photographs = &session.photographs;
    if working(ui, photographs.told(), Command::CancelPhoto, send) {
        return;
    }
    let framed = photographs.form.frame.is_some();
    ui.horizontal(|ui| {
        let name = match framed {
            true => "Read in this frame",
            false => "Read the photograph",
        };
        if main_button(ui, name, session.can(&Command::ReadPhoto)).clicked() {
            send.send(Command::ReadPhoto);
        }
        let hint = "Reads again, and finds by itself where the print lies.";
        if framed
            && ui
                .button("Find it without the frame")
                .on_hover_text(hint)
                .clicked()
        {
            let mut form = photographs.form.clone();
            form.frame = None;
            send.send(Command::SetPhotoForm(Box::new(form)));
            send.send(Command::ReadPhoto);
        }
    });
}

/// What came of the last reading, in words.
fn outcome(ui: &mut Ui, session: &Session) {
    let photographs = &session.photographs;
    if let Some(why) = &photographs.trouble {
        warning(ui, why.as_str());
    }
    let Some(seen) = photographs.shown() else {
        return;
    };
    let fresh = seen.of.reads_as(&photographs.form);
    match &seen.read {
        _ if !fresh => {
            note(ui, "Changed since it was read: read it again.");
        }
        Ok(readings) => told(ui, readings),
        Err(why) => refused(ui, seen, why),
    }
}

fn told(ui: &mut Ui, readings: &Readings) {
    ScrollArea::vertical()
        .id_salt("told")
        .max_height(96.0)
        .show(ui, |ui| {
            for text in &readings.warnings {
                warning(ui, text.as_str());
            }
            for text in &readings.found {
                note(ui, text.as_str());
            }
        });
    note(
        ui,
        "Look at the picture: if the green patches don't lie on the steps, drag the frame's \
         corners onto those of the print's face, and read again.",
    );
}

fn refused(ui: &mut Ui, seen: &SeenPhoto, why: &str) {
    ScrollArea::vertical()
        .id_salt("refused")
        .max_height(180.0)
        .show(ui, |ui| warning(ui, format!("Refused: {why}.")));
    if seen.frame_helps {
        ui.add_space(4.0);
        ui.add(
            egui::Label::new(
                "If the print lies there all the same, drag the frame's corners onto those of its \
                 face, and read again. A handle with the keyboard follows the arrow keys.",
            )
            .wrap(),
        );
    }
}

/// The table to write, and what to do with it.
fn write(
    ui: &mut Ui,
    session: &Session,
    readings: &Readings,
    form: &mut PhotoForm,
    send: &mut Commands,
) {
    ui.add_space(4.0);
    field(ui, PhotoFile::Table, form, false, send);
    let there = form.table_file().is_some_and(|file| file.is_file());
    let written = session.photographs.written.as_ref();
    ui.horizontal(|ui| {
        let name = match there {
            true => "Replace the table",
            false => "Write the table",
        };
        let can = session.can(&Command::WritePhotoTable);
        let button = match written {
            // Once it is there, the next step is what the page is for.
            Some(_) => ui.add_enabled(can, egui::Button::new(name)),
            None => main_button(ui, name, can),
        };
        if button.clicked() {
            send.send(Command::WritePhotoTable);
        }
        if let Some(file) = written.filter(|_| !readings.are_heights() && session.doc.is_some())
            && main_button(ui, "Fit the spools to it", true).clicked()
        {
            send.send(Command::TakeSpoolFile(file.clone()));
        }
    });
    if let Some(file) = written {
        ui.label(RichText::new(format!("Wrote {}", file.display())).strong());
        if readings.are_heights() {
            note(ui, "On the page Job, “Fit the lag” now reads this table.");
        }
    }
}

/// The colours that were read.
fn list(ui: &mut Ui, readings: &Readings) {
    ui.add_space(4.0);
    heading(ui, "What was read");
    signed(ui, "Expect errors of a few ΔE00; a colorimeter is better.");
    let room = ui.available_height();
    ScrollArea::vertical()
        .id_salt("read")
        .max_height(room.max(120.0))
        .auto_shrink([false, true])
        .show(ui, |ui| {
            Grid::new("read")
                .num_columns(6)
                .striped(true)
                .min_row_height(18.0)
                .spacing([14.0, 3.0])
                .show(ui, |ui| {
                    let first = if readings.are_heights() {
                        "Height"
                    } else {
                        "Step"
                    };
                    for title in [first, "", "L*", "a*", "b*", "sRGB"] {
                        note(ui, title);
                    }
                    ui.end_row();
                    for (name, lab) in &readings.listed {
                        let colour = lab.to_xyz().to_srgb();
                        ui.label(name);
                        widgets::swatch(ui, colour, vec2(44.0, 16.0));
                        for value in [lab.l, lab.a, lab.b] {
                            ui.label(RichText::new(format!("{value:6.1}")).monospace());
                        }
                        ui.label(RichText::new(colour.to_string()).monospace());
                        ui.end_row();
                    }
                });
        });
}
