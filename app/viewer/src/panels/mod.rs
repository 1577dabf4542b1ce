//! What the window shows: plain functions that read the session and send commands. Nothing here
//! can change the session, so showing it changes nothing.

mod actions;
mod area;
mod blend_editor;
mod bodies;
mod checks;
mod drawer;
mod elsewhere;
mod fade_editor;
mod focus;
mod header;
pub mod help;
pub mod icon;
mod job;
mod laying;
mod messages;
mod moves;
mod own_colours;
pub mod pacing;
mod pages;
mod part;
mod paths;
mod photograph;
pub mod places;
mod placing;
mod purge_blocks;
mod purging;
pub mod ribbon;
mod section;
pub mod shortcuts;
mod sliced;
mod spools;
mod stack;
mod stage;
mod standing;
mod start;
mod steps;
mod tray;
mod view_copy;
mod ways;
mod weave;
pub mod widgets;

use egui::{CentralPanel, Frame, Margin, Panel, Rect, Ui, UiBuilder};

use crate::commands::{Command, Commands, Hover};
use crate::model::names;
use crate::model::page::Page;
use crate::model::tool::Tool;
use crate::session::Session;
use crate::theme::Palette;

/// Width of the drawer at first, points, and the widths that it can be dragged to. It does not
/// follow its content, which takes whatever room there is.
const DRAWER: f32 = 336.0;
const DRAWER_RANGE: std::ops::RangeInclusive<f32> = 300.0..=640.0;

/// Sends what keys and dropped files ask for.
pub fn keys(ui: &Ui, session: &Session, send: &mut Commands) {
    for command in shortcuts::pressed(ui.ctx()) {
        send.send(command);
    }
    let dropped = ui.input(|i| i.raw.dropped_files.clone());
    if let Some(file) = dropped.first().map(|f| f.path().to_owned()) {
        send.send(match () {
            () if names::is_toolpath(&file) => Command::TakeToolpath(file),
            () if names::is_picture(&file) && session.page == Some(Page::Photograph) => {
                let mut form = session.photographs.form.clone();
                form.photo = file.display().to_string();
                Command::SetPhotoForm(Box::new(form))
            }
            () if names::is_photograph(&file) && session.page == Some(Page::FinishedPart) => {
                let mut form = session.finished.form.clone();
                let files = dropped.iter().map(|f| f.path().to_owned());
                let files: Vec<_> = files.filter(|f| names::is_photograph(f)).collect();
                form.add(&files);
                Command::SetFinishedForm(Box::new(form))
            }
            () if names::is_picture(&file) && session.doc.is_some() => {
                let at = ui.input(|i| i.pointer.latest_pos());
                let at = at.filter(|at| session.view.stage.contains(*at));
                Command::PutPicture(file, at)
            }
            () => Command::OpenFile(file),
        });
    }
    if session.doc.is_none() && session.lacks_cards() {
        send.send(Command::DrawCards);
    }
}

/// Draws the whole window.
pub fn window(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let window = ui.max_rect();
    if session.doc.is_some() {
        bench(ui, session, send);
    } else {
        start::show(ui, session, send);
        send.send(Command::Lay {
            window,
            stage: Rect::ZERO,
            fit: Rect::ZERO,
        });
    }
    pages::show(ui.ctx(), session, send);
    messages::show(ui.ctx(), session, send);
    focus::show(ui.ctx(), Palette::from_ui(ui));
}

/// The window with a part open: header above, tray below, drawer and ribbon at the right, and
/// the stage in what is left.
fn bench(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let window = ui.max_rect();
    let p = Palette::from_ui(ui);
    let bar = |vertical| {
        Frame::new()
            .fill(p.panel)
            .inner_margin(Margin::symmetric(10, vertical))
    };
    let side = Frame::new().fill(p.panel);
    Panel::top("header")
        .resizable(false)
        .frame(bar(7))
        .show(ui, |ui| header::show(ui, session, send));
    // A question about the same file says it already.
    let asked = matches!(session.page, Some(Page::Overwrite { .. }));
    if let Some(changed) = session.changed_elsewhere().filter(|_| !asked) {
        Panel::top("elsewhere")
            .resizable(false)
            .frame(bar(5))
            .show(ui, |ui| elsewhere::show(ui, session, changed, send));
    }
    if session.asks_unit() {
        Panel::top("unit")
            .resizable(false)
            .frame(bar(5))
            .show(ui, |ui| standing::offer(ui, session, send));
    }
    if !session.settings.drawer_folded {
        Panel::right("drawer")
            .resizable(true)
            .default_size(DRAWER)
            .size_range(DRAWER_RANGE)
            .frame(side)
            .show(ui, |ui| within(ui, |ui| drawer::show(ui, session, send)));
    }
    Panel::bottom("tray")
        .resizable(false)
        .frame(bar(6))
        .show(ui, |ui| tray::show(ui, session, send));
    if session.view.cut && session.toolpath.follow.is_none() {
        Panel::bottom("section")
            .resizable(false)
            .frame(bar(6))
            .show(ui, |ui| section::show(ui, session, send));
    }
    let on_ribbon = match session.settings.ribbon_folded {
        true => None,
        false => {
            Panel::right("ribbon")
                .resizable(false)
                .exact_size(ribbon::WIDTH)
                .frame(side)
                .show(ui, |ui| show_ribbon(ui, session, send))
                .inner
        }
    };
    if session.toolpath.follow.is_some() {
        Panel::bottom("moves")
            .resizable(false)
            .frame(bar(6))
            .show(ui, |ui| moves::show(ui, session, send));
    }
    let (stage, on_stage) = CentralPanel::no_frame()
        .frame(Frame::new())
        .show(ui, |ui| stage::show(ui, session, send))
        .inner;
    // The ribbon's foot must not hide the bed, nor its head the top.
    let fit = stage.with_max_y(stage.bottom() - ribbon::FOOTER + ribbon::HEADER);
    send.send(Command::Lay { window, stage, fit });
    let pressed = ui.input(|i| i.pointer.any_down());
    let hover = match on_ribbon.or(on_stage) {
        Some(hover) => hover,
        None if pressed => Hover::Busy,
        None => Hover::Nowhere,
    };
    send.send(Command::Hover(hover));
}

/// Shows contents in the room that there is: neither wide nor narrow ones change it.
fn within(ui: &mut Ui, contents: impl FnOnce(&mut Ui)) {
    let room = ui.available_rect_before_wrap();
    let mut inner = ui.new_child(UiBuilder::new().max_rect(room));
    inner.shrink_clip_rect(room);
    contents(&mut inner);
    ui.advance_cursor_after_rect(room);
}

fn show_ribbon(ui: &mut Ui, session: &Session, send: &mut Commands) -> Option<Hover> {
    let doc = session.doc.as_ref()?;
    let view = ribbon::View {
        camera: session.view.camera,
        stage: session.view.stage,
        profile: session.profile(),
        stale: session.summary_is_behind(),
        plan: doc.plan(),
        extent_mm: doc.extent_mm(),
        region: session.chosen.region,
        stop: session.chosen.stop,
        picks: session.tools.tool == Tool::Pick,
        cursor_mm: session.view.cursor_mm,
        hover_mm: session.view.hover_mm,
        warnings: &session.summary.warnings_at_mm,
        colour: &|shares| widgets::colour32(session.colour_of(shares)),
        piece_colour: &|layer, piece| widgets::colour32(session.piece_colour(layer, piece)),
    };
    ribbon::show(ui, &view, send)
}
