//! The header: the part's name and whether it is saved, files, undo, the view, preparing.

use egui::{Align, Button, Layout, RichText, Ui};

use super::icon::Icon;
use super::widgets::{icon_button, icon_toggle, note};
use crate::actions::{self, Action};
use crate::state::Session;
use crate::state::camera::{Lens, Side};
use crate::state::view::Look;
use crate::theme::Palette;

/// What the choices of colours take side by side, points.
const LOOKS: f32 = 262.0;

/// The least room in which the part's name is shown, points: the window's title has it too.
const NAMED: f32 = 840.0;

/// Shows the header.
pub fn show(ui: &mut Ui, session: &mut Session) {
    let room = ui.available_width();
    ui.horizontal(|ui| {
        name(ui, session, room);
        ui.separator();
        button(ui, session, Icon::Open, Action::Open);
        button(ui, session, Icon::Save, Action::Save);
        ui.separator();
        undo(ui, session);
        ui.separator();
        view(ui, session);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            prepare(ui, session);
            ui.separator();
            button(ui, session, Icon::Question, Action::Help);
            button(ui, session, Icon::Keys, Action::Keys);
            ui.separator();
            match ui.available_width() > LOOKS {
                true => looks(ui, session),
                false => looks_menu(ui, session),
            }
        });
    });
}

fn name(ui: &mut Ui, session: &mut Session, room: f32) {
    let Some(doc) = &session.doc else { return };
    let (title, unsaved) = (doc.title(), doc.is_unsaved());
    if room > NAMED {
        let label = egui::Label::new(RichText::new(title).strong()).truncate();
        ui.scope(|ui| {
            ui.set_max_width((room * 0.15).min(180.0));
            ui.add(label);
        });
    }
    if unsaved {
        note(ui, "not saved");
    }
}

/// A button for an action of the table.
pub fn button(ui: &mut Ui, session: &mut Session, icon: Icon, action: Action) {
    let Some(entry) = actions::find(action) else {
        return;
    };
    let hint = actions::hint(action);
    let can = session.can(action);
    let clicked = ui
        .add_enabled_ui(can, |ui| icon_button(ui, icon, entry.name, &hint).clicked())
        .inner;
    if clicked {
        session.act(action);
    }
}

/// A button for an action that is on or off.
pub fn toggle(ui: &mut Ui, session: &mut Session, icon: Icon, action: Action, on: bool) {
    let Some(entry) = actions::find(action) else {
        return;
    };
    let hint = actions::hint(action);
    if icon_toggle(ui, icon, entry.name, &hint, on).clicked() {
        session.act(action);
    }
}

fn undo(ui: &mut Ui, session: &mut Session) {
    let of = |name: Option<&'static str>, action: Action| match name {
        Some(name) => format!("{}\n{name}", actions::hint(action)),
        None => actions::hint(action),
    };
    let (undo, redo) = match &session.doc {
        Some(doc) => (doc.undo_label(), doc.redo_label()),
        None => (None, None),
    };
    for (icon, action, name, hint) in [
        (Icon::Undo, Action::Undo, "Undo", of(undo, Action::Undo)),
        (Icon::Redo, Action::Redo, "Redo", of(redo, Action::Redo)),
    ] {
        let can = session.can(action);
        let clicked = ui
            .add_enabled_ui(can, |ui| icon_button(ui, icon, name, &hint).clicked())
            .inner;
        if clicked {
            session.act(action);
        }
    }
}

fn view(ui: &mut Ui, session: &mut Session) {
    let level = session.view.camera.is_level();
    toggle(ui, session, Icon::Level, Action::Level, level);
    button(ui, session, Icon::Fit, Action::Fit);
    let cut = session.view.cut;
    toggle(ui, session, Icon::Cut, Action::Cut, cut);
    let perspective = session.view.camera.lens == Lens::Perspective;
    toggle(ui, session, Icon::Lens, Action::Lens, perspective);
    ui.menu_button("Look from", |ui| {
        for side in Side::ALL {
            let action = Action::LookFrom(side);
            let keys = actions::find(action).and_then(|e| e.keys);
            let keys = keys.map(actions::keys_text).unwrap_or_default();
            if ui
                .add(Button::new(side.name()).shortcut_text(keys))
                .clicked()
            {
                session.act(action);
                ui.close();
            }
        }
    })
    .response
    .on_hover_text("Look along an axis.");
}

/// The choices in a menu, where there is no room for them side by side.
fn looks_menu(ui: &mut Ui, session: &mut Session) {
    ui.menu_button(session.view.look.name(), |ui| {
        for look in Look::ALL {
            let on = session.view.look == look;
            if ui.selectable_label(on, look.name()).clicked() {
                session.act(Action::Show(look));
                ui.close();
            }
        }
    })
    .response
    .on_hover_text(actions::hint(Action::NextLook));
}

fn looks(ui: &mut Ui, session: &mut Session) {
    ui.spacing_mut().item_spacing.x = 3.0;
    for look in Look::ALL.into_iter().rev() {
        let on = session.view.look == look;
        let choice = ui.selectable_label(on, look.name());
        let choice = choice.on_hover_text(match look {
            Look::Asked => "The colours that the plan asks for.",
            Look::Printed => "The colours that the machine is predicted to lay down.",
            Look::Difference => "How far the printed colours are off, as ΔE00.",
        });
        if choice.clicked() {
            session.act(Action::Show(look));
        }
    }
}

fn prepare(ui: &mut Ui, session: &mut Session) {
    let p = Palette::from_ui(ui);
    let text = RichText::new("Prepare…").color(p.on_accent).strong();
    let button = Button::new(text).fill(p.accent);
    if ui
        .add(button)
        .on_hover_text(actions::hint(Action::Prepare))
        .clicked()
    {
        session.act(Action::Prepare);
    }
}
