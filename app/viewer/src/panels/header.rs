//! The header: files, undo, the view, the part's name and whether it is saved, preparing.
//!
//! The buttons stand first and last and the name between them, so that no button moves when the
//! name or what is to be saved changes.

use egui::{Align, Button, Layout, RichText, Ui};

use super::icon::Icon;
use super::shortcuts;
use super::widgets::{icon_button, icon_toggle, main_button, note};
use crate::commands::{Command, Commands};
use crate::model::camera::{Lens, Side};
use crate::model::page::SidePanel;
use crate::model::view::Look;
use crate::session::Session;

/// What the choices of colours take side by side, points.
const LOOKS: f32 = 262.0;

/// The least room in which the part's name is shown, points: the window's title has it too.
const NAME: f32 = 70.0;

/// Shows the header.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.horizontal(|ui| {
        button(ui, session, send, Icon::Open, Command::Open);
        button(ui, session, send, Icon::Save, Command::Save);
        ui.separator();
        undo(ui, session, send);
        ui.separator();
        view(ui, session, send);
        ui.separator();
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            folds(ui, session, send);
            prepare(ui, send);
            ui.separator();
            button(ui, session, send, Icon::Question, Command::Help);
            button(ui, session, send, Icon::Keys, Command::Keys);
            ui.separator();
            match ui.available_width() > LOOKS + NAME {
                true => looks(ui, session, send),
                false => looks_menu(ui, session, send),
            }
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| name(ui, session));
        });
    });
}

fn name(ui: &mut Ui, session: &Session) {
    let Some(doc) = &session.doc else { return };
    if ui.available_width() < NAME {
        return;
    }
    if doc.is_unsaved() {
        note(ui, "not saved");
    }
    if session.is_open_elsewhere() {
        note(ui, "also in another window");
    }
    let title = RichText::new(doc.title()).strong();
    ui.add(egui::Label::new(title).truncate());
}

/// A button for a command of the table.
pub(super) fn button(
    ui: &mut Ui,
    session: &Session,
    send: &mut Commands,
    icon: Icon,
    command: Command,
) {
    let Some(entry) = shortcuts::find(&command) else {
        return;
    };
    let hint = shortcuts::hint(&command);
    let can = session.can(&command);
    let clicked = ui
        .add_enabled_ui(can, |ui| icon_button(ui, icon, entry.name, &hint).clicked())
        .inner;
    if clicked {
        send.send(command);
    }
}

/// A button for a command that turns something on or off.
fn toggle(ui: &mut Ui, send: &mut Commands, icon: Icon, command: Command, on: bool) {
    let Some(entry) = shortcuts::find(&command) else {
        return;
    };
    let hint = shortcuts::hint(&command);
    if icon_toggle(ui, icon, entry.name, &hint, on).clicked() {
        send.send(command);
    }
}

fn undo(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let doc = session.doc.as_ref();
    let labels = (
        doc.and_then(|d| d.undo_label()),
        doc.and_then(|d| d.redo_label()),
    );
    for (icon, command, label) in [
        (Icon::Undo, Command::Undo, labels.0),
        (Icon::Redo, Command::Redo, labels.1),
    ] {
        let name = shortcuts::find(&command).map_or("", |e| e.name);
        let mut hint = shortcuts::hint(&command);
        if let Some(label) = label {
            hint.push('\n');
            hint.push_str(label);
        }
        let can = session.can(&command);
        let clicked = ui
            .add_enabled_ui(can, |ui| icon_button(ui, icon, name, &hint).clicked())
            .inner;
        if clicked {
            send.send(command);
        }
    }
}

fn view(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let camera = &session.view.camera;
    toggle(ui, send, Icon::Level, Command::Level, camera.is_level());
    button(ui, session, send, Icon::Fit, Command::Fit);
    toggle(ui, send, Icon::Cut, Command::Cut, session.view.cut);
    let perspective = camera.lens == Lens::Perspective;
    toggle(ui, send, Icon::Lens, Command::Lens, perspective);
    button(ui, session, send, Icon::Picture, Command::AskViewCopy);
    ui.menu_button("View from", |ui| {
        for side in Side::ALL {
            let command = Command::LookFrom(side);
            let keys = shortcuts::find(&command).and_then(|e| e.keys);
            let keys = keys.map(shortcuts::keys_text).unwrap_or_default();
            if ui
                .add(Button::new(side.name()).shortcut_text(keys))
                .clicked()
            {
                send.send(command);
                ui.close();
            }
        }
    })
    .response
    .on_hover_text("Look along an axis.");
}

/// Folds the panels at the side.
fn folds(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let settings = &session.settings;
    for (panel, icon, folded) in [
        (SidePanel::Drawer, Icon::Drawer, settings.drawer_folded),
        (SidePanel::Ribbon, Icon::Ribbon, settings.ribbon_folded),
    ] {
        toggle(ui, send, icon, Command::Fold(panel), folded);
    }
}

/// The choices in a menu, where there is no room for them side by side.
fn looks_menu(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.menu_button(session.view.look.name(), |ui| {
        for look in Look::ALL {
            let on = session.view.look == look;
            if ui.selectable_label(on, look.name()).clicked() {
                send.send(Command::Show(look));
                ui.close();
            }
        }
    })
    .response
    .on_hover_text(shortcuts::hint(&Command::NextLook));
}

fn looks(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.spacing_mut().item_spacing.x = 3.0;
    for look in Look::ALL.into_iter().rev() {
        let on = session.view.look == look;
        let choice = ui.selectable_label(on, look.name());
        let choice = choice.on_hover_text(match look {
            Look::Asked => "The colours that the plan requests.",
            Look::Printed => "The colours that the machine is predicted to print.",
            Look::Difference => "How far the printed colours are off, as ΔE00.",
        });
        if choice.clicked() {
            send.send(Command::Show(look));
        }
    }
}

fn prepare(ui: &mut Ui, send: &mut Commands) {
    let clicked = main_button(ui, "Prepare…", true)
        .on_hover_text(shortcuts::hint(&Command::Prepare))
        .clicked();
    if clicked {
        send.send(Command::Prepare);
    }
}
