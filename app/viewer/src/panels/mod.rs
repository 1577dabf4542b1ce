//! What the window shows: plain functions over the session, with no idea of Bevy.

mod blend_editor;
mod checks;
mod drawer;
mod fade_editor;
mod header;
pub mod help;
pub mod icon;
mod messages;
mod moves;
mod pages;
mod part;
pub mod ribbon;
mod spools;
mod stack;
mod stage;
mod start;
mod steps;
mod tray;
mod weave;
pub mod widgets;

use std::time::Instant;

use egui::{CentralPanel, Frame, Panel, Ui};

use crate::actions;
use crate::jobs::toolpath_file;
use crate::state::Session;
use crate::theme::Palette;

/// Width of the drawer, points.
const DRAWER: f32 = 324.0;

/// Draws the whole window and does what was asked for in it.
pub fn window(ui: &mut Ui, session: &mut Session) {
    if let Some(again) = session.tick(Instant::now()) {
        ui.ctx().request_repaint_after(again);
    }
    for action in actions::pressed(ui.ctx()) {
        session.act(action);
    }
    take_dropped_files(ui, session);
    session.view.window = ui.max_rect();
    if session.doc.is_some() {
        bench(ui, session);
    } else {
        start::show(ui, session);
    }
    pages::show(ui.ctx(), session);
    messages::show(ui.ctx(), session);
}

/// The window with a part open: header above, tray below, drawer and ribbon at the right, and
/// the stage in what is left.
fn bench(ui: &mut Ui, session: &mut Session) {
    let p = Palette::from_ui(ui);
    let bar = Frame::new()
        .fill(p.panel)
        .inner_margin(egui::Margin::symmetric(10, 7));
    Panel::top("header")
        .resizable(false)
        .frame(bar)
        .show(ui, |ui| header::show(ui, session));
    Panel::right("drawer")
        .resizable(false)
        .exact_size(DRAWER)
        .frame(Frame::new().fill(p.panel))
        .show(ui, |ui| drawer::show(ui, session));
    let bar = Frame::new()
        .fill(p.panel)
        .inner_margin(egui::Margin::symmetric(10, 6));
    Panel::bottom("tray")
        .resizable(false)
        .frame(bar)
        .show(ui, |ui| tray::show(ui, session));
    let events = Panel::right("ribbon")
        .resizable(false)
        .exact_size(ribbon::WIDTH)
        .frame(Frame::new().fill(p.panel))
        .show(ui, |ui| show_ribbon(ui, session))
        .inner;
    if session.toolpath.follow.is_some() {
        Panel::bottom("moves")
            .resizable(false)
            .frame(bar)
            .show(ui, |ui| moves::show(ui, session));
    }
    CentralPanel::no_frame()
        .frame(Frame::new())
        .show(ui, |ui| stage::show(ui, session));
    for event in events {
        session.on_ribbon(event);
    }
}

fn show_ribbon(ui: &mut Ui, session: &Session) -> Vec<ribbon::Event> {
    let Some(doc) = &session.doc else {
        return Vec::new();
    };
    ribbon::show(
        ui,
        &ribbon::View {
            camera: session.view.camera,
            stage: session.view.stage,
            profile: session.profile(),
            stale: session.summary_is_behind(),
            plan: doc.plan(),
            extent_mm: doc.extent_mm(),
            region: session.chosen.region,
            stop: session.chosen.stop,
            cursor_mm: session.view.cursor_mm,
            hover_mm: session.view.hover_mm,
            warnings: &session.summary.warnings_at_mm,
            colour: &|shares| session.colour_of(shares),
            piece_colour: &|layer, piece| session.piece_colour(layer, piece),
        },
    )
}

fn take_dropped_files(ui: &Ui, session: &mut Session) {
    let dropped = ui.input(|i| i.raw.dropped_files.clone());
    if let Some(file) = dropped.first().map(|f| f.path().to_owned()) {
        match toolpath_file::is_named_so(&file) {
            true => session.take_toolpath(&file),
            false => session.open(file),
        }
    }
}
