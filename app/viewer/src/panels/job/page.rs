//! What the steps of the job are built of: fields, buttons, and what came of each.

use egui::{Button, CollapsingHeader, ProgressBar, RichText, Ui};

use super::super::icon::Icon;
use super::super::sliced::file_field;
use super::super::widgets::{Number, heading, line, main_button, note, warning};
use crate::commands::{Browse, Command, Commands};
use crate::model::errand::{Answer, Errand, FormFile, Forms, Line};
use crate::session::Session;
use crate::theme::Palette;

/// What the steps read and write.
pub(super) struct Page<'a> {
    pub(super) session: &'a Session,
    pub(super) forms: &'a mut Forms,
    pub(super) send: &'a mut Commands,
}

impl Page<'_> {
    /// A part of the job.
    pub(super) fn stage(
        &mut self,
        ui: &mut Ui,
        name: &str,
        contents: impl FnOnce(&mut Ui, &mut Self),
    ) {
        heading(ui, name);
        contents(ui, self);
        ui.add_space(10.0);
    }

    /// A step: its fields and buttons when it is opened, and what came of its errands.
    pub(super) fn step(
        &mut self,
        ui: &mut Ui,
        name: &str,
        errands: &[Errand],
        contents: impl FnOnce(&mut Ui, &mut Self),
    ) {
        let state = &self.session.errands;
        let runs = state.running.is_some_and(|e| errands.contains(&e));
        let answered = errands.iter().any(|e| state.answers.contains_key(e));
        CollapsingHeader::new(RichText::new(name))
            .id_salt(("step", name))
            .default_open(answered)
            .open(runs.then_some(true))
            .show(ui, |ui| {
                contents(ui, self);
                for errand in errands {
                    self.running(ui, *errand);
                    self.answer(ui, *errand);
                }
                ui.add_space(4.0);
            });
    }

    /// A field for a file, with its name above it.
    pub(super) fn file(&mut self, ui: &mut Ui, of: FormFile) {
        note(ui, of.name());
        let hint = "Choose with the system's own dialog.";
        if file_field(ui, of.field(self.forms), of.name(), hint) {
            self.send.send(Command::Browse(Browse::Form(of)));
        }
    }

    /// A field for a count.
    pub(super) fn count(ui: &mut Ui, name: &str, hint: &str, most: usize, count: &mut usize) {
        ui.horizontal(|ui| {
            ui.label(name);
            let number = Number {
                range: (1.0, most as f64),
                speed: 0.05,
                decimals: 0,
                unit: "",
                width: None,
            };
            let turned = number.show(ui, name, hint, *count as f64);
            *count = turned.to.map_or(*count, |to| to as usize);
        });
    }

    /// A field for an amount.
    pub(super) fn amount(
        ui: &mut Ui,
        (name, unit): (&str, &'static str),
        hint: &str,
        range: (f64, f64),
        amount: &mut f64,
    ) {
        ui.horizontal(|ui| {
            ui.label(name);
            let number = Number {
                range,
                speed: 0.1,
                decimals: 1,
                unit,
                width: None,
            };
            let turned = number.show(ui, name, hint, *amount);
            *amount = turned.to.unwrap_or(*amount);
        });
    }

    /// A button that runs a step. What is about files waits until the plan is saved.
    pub(super) fn button(&mut self, ui: &mut Ui, name: &str, errand: Errand) {
        let doc = self.session.doc.as_ref();
        let unsaved = doc.is_some_and(|d| !d.is_saved());
        let waits = errand.is_of_files() && unsaved;
        if waits {
            note(ui, "This is about the saved files: save the plan first.");
            if ui.button(format!("Save, then: {name}")).clicked() {
                self.send.send(Command::Save);
            }
            return;
        }
        let command = Command::Run(errand);
        if main_button(ui, name, self.session.can(&command)).clicked() {
            self.send.send(command);
        }
    }

    fn running(&mut self, ui: &mut Ui, errand: Errand) {
        if self.session.errands.running != Some(errand) {
            return;
        }
        let Some((title, stage, fraction)) = self.session.errand_work() else {
            return;
        };
        // It may have been started elsewhere.
        note(ui, format!("{title}: {stage}")).scroll_to_me(None);
        ui.horizontal(|ui| {
            let room = ui.available_width() - 70.0;
            let bar = ProgressBar::new(fraction).desired_height(10.0);
            ui.add(bar.desired_width(room));
            if ui.button("Cancel").clicked() {
                self.send.send(Command::CancelRun);
            }
        });
    }

    fn answer(&mut self, ui: &mut Ui, errand: Errand) {
        match self.session.errands.answers.get(&errand) {
            None => {}
            Some(Err(why)) => {
                warning(ui, why.as_str());
            }
            Some(Ok(answer)) => {
                told(ui, answer);
                self.open(ui, answer);
                let doc = self.session.doc.as_ref();
                if doc.map(|d| d.revision()) != answer.revision {
                    warning(ui, "The plan has changed since then.");
                }
            }
        }
    }

    fn open(&mut self, ui: &mut Ui, answer: &Answer) {
        let (Some(name), Some(path)) = (answer.open_name(), &answer.opens) else {
            return;
        };
        if ui.add(Button::new(name).wrap()).clicked() {
            self.send.send(Command::OpenOutside(path.clone()));
        }
    }
}

fn told(ui: &mut Ui, answer: &Answer) {
    let p = Palette::from_ui(ui);
    for piece in &answer.lines {
        match piece {
            Line::Text(text) => {
                ui.add(egui::Label::new(text).wrap());
            }
            Line::Holds(text) => line(ui, Icon::Sound, p.text, text),
            Line::Warning(text) => {
                warning(ui, text.as_str());
            }
            Line::Table(text) => table(ui, text),
            Line::File(file, about) => {
                ui.horizontal_wrapped(|ui| {
                    ui.label(RichText::new(file).monospace());
                    note(ui, about.as_str());
                });
            }
        }
    }
}

/// Text in columns: it scrolls sideways rather than break its lines.
fn table(ui: &mut Ui, text: &str) {
    egui::ScrollArea::both()
        .id_salt(text.len())
        .max_height(260.0)
        .auto_shrink([false, true])
        .show(ui, |ui| {
            let label = egui::Label::new(RichText::new(text).monospace());
            ui.add(label.extend().selectable(true));
        });
}
