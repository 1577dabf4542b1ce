//! The person's own toolpath: weave the plan into it, check what came out, follow its strands.
//! From top to bottom in the order of the job.

use blend::{Lab, Xyz};
use egui::{Button, Color32, Sense, Stroke, Ui, vec2};
use weave::How;
use weave::verify::Miss;

use super::icon::Icon;
use super::shortcuts;
use super::sliced::{file_field, sliced};
use super::widgets::{
    self, boxed, cautions, colour32, heading, line, main_button, mm, note, signed, warning,
};
use super::{purge_blocks, purging, ways};
use crate::commands::{Browse, Command, Commands};
use crate::jobs::read_back::ReadBack;
use crate::jobs::weave::Done;
use crate::model::draft::Draft;
use crate::session::Session;
use crate::theme::Palette;

/// Copies that are told one by one.
const MOST_COPIES: usize = 6;

/// Shows the page.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let mut draft = session.toolpath.draft.clone();
    sliced(ui, &mut draft, send);
    ui.add_space(8.0);
    purging::show(ui, &mut draft);
    purge_blocks::show(ui, session);
    ui.add_space(8.0);
    woven(ui, session, &mut draft, send);
    if draft != session.toolpath.draft {
        send.send(Command::SetDraft(Box::new(draft)));
    }
    ui.add_space(4.0);
    doing(ui, session, send);
    ui.add_space(8.0);
    // What was done last stands first.
    if let Some(found) = session.toolpath.read_back.as_ref() {
        verdict(ui, session, found, send);
        ui.add_space(8.0);
    }
    if let Some(done) = session.toolpath.done.as_ref() {
        told(ui, session, done);
        ui.add_space(8.0);
    }
    ways::lost(ui, session, send);
    ways::curve(ui, session, send);
}

fn woven(ui: &mut Ui, session: &Session, draft: &mut Draft, send: &mut Commands) {
    heading(ui, "Woven file");
    let hint = "Choose where to write, or an existing woven file.";
    if file_field(ui, &mut draft.woven, "Woven file", hint) {
        send.send(Command::Browse(Browse::Woven));
    }
    let ours = session.toolpath.done.as_ref().map(|d| d.file.clone());
    let there = draft.woven_file();
    let there = there.filter(|f| f.is_file() && Some(f) != ours.as_ref());
    if there.is_some() {
        note(ui, "This file exists; weaving replaces it.");
    }
    ui.checkbox(
        &mut draft.needs_review,
        "Only if the plan is signed as it is",
    )
    .on_hover_text("Weave nothing unless somebody has approved this version of the plan.");
    if session.doc.as_ref().is_some_and(|d| d.is_unsaved()) {
        note(
            ui,
            "The plan has unsaved changes. They are woven too, and the file's header says that \
             nobody has signed this version.",
        );
    }
}

/// The buttons, and what is going on.
fn doing(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 5.0;
        ui.spacing_mut().button_padding.x = 7.0;
        let hint = "Write the toolpath again with the plan's blends added. If regions share \
                    layers, runs change places within a layer, and a purge block may be added. \
                    Temperatures stay the same.";
        let (name, command) = match session.foreseen_lost() {
            Some([_, ..]) => ("Weave anyway", Command::WeaveAnyway),
            _ => ("Weave it", Command::WeaveIt),
        };
        let button = main_button(ui, name, session.can(&command));
        if button
            .on_hover_text(hint)
            .on_disabled_hover_text(hint)
            .clicked()
        {
            send.send(command);
        }
        for (name, command) in [
            ("Check it", Command::ReadBack),
            ("Follow it", Command::Follow),
        ] {
            let on = command == Command::Follow && session.toolpath.follow.is_some();
            let button = ui.add_enabled(session.can(&command), Button::new(name).selected(on));
            let hint = shortcuts::hint(&command);
            if button
                .on_hover_text(&hint)
                .on_disabled_hover_text(&hint)
                .clicked()
            {
                send.send(command);
            }
        }
    });
    if let Some((title, stage, fraction)) = session.toolpath_work() {
        note(ui, format!("{title}: {stage}"));
        ui.horizontal(|ui| {
            let room = ui.available_width() - 60.0;
            let bar = egui::ProgressBar::new(fraction).desired_height(10.0);
            ui.add(bar.desired_width(room));
            if ui
                .button("Cancel")
                .on_hover_text("Nothing is written; an old file stays unchanged.")
                .clicked()
            {
                send.send(Command::CancelToolpathWork);
            }
        });
    }
    if let Some(why) = &session.toolpath.trouble {
        ui.add_space(4.0);
        boxed(ui, p.error, |ui| line(ui, Icon::Warning, p.error, why));
    }
}

/// What came of weaving.
fn told(ui: &mut Ui, session: &Session, done: &Done) {
    let p = Palette::from_ui(ui);
    heading(ui, "Woven");
    let woven = &done.woven;
    let emitted = &woven.emitted;
    line(
        ui,
        Icon::Sound,
        p.text,
        &format!(
            "{} changes of blend added; {} of {} moves were cut for them.",
            emitted.changes, emitted.cuts, woven.printing_moves
        ),
    );
    if emitted.whole > 0 {
        note(
            ui,
            format!(
                "{} moves could not be cut; their change comes before them.",
                emitted.whole
            ),
        );
    }
    note(
        ui,
        match woven.how {
            How::Plain => "Each change is where its blend begins.",
            How::Shifted => "Changes are sent ahead of their place by the lag of the melt chamber.",
            How::Sharpened => {
                "Changes are sent ahead of their place, and overshoot their blend where that helps."
            }
        },
    );
    for (i, stand) in woven.registered.stands.iter().take(MOST_COPIES).enumerate() {
        let [x, y] = stand.placement.shift_mm;
        note(
            ui,
            format!(
                "Copy {}: turned {}°, shifted {}, {} mm; fits the outline within {:.3} mm.",
                i + 1,
                mm(stand.placement.turn_deg),
                mm(x),
                mm(y),
                stand.residual_mm
            ),
        );
    }
    let more = woven.registered.stands.len().saturating_sub(MOST_COPIES);
    if more > 0 {
        note(ui, format!("and {more} more copies."));
    }
    note(ui, format!("{}.", done.review));
    if done.unsaved {
        note(ui, "It has the plan's unsaved changes.");
    }
    overtaken(ui, session, done.revision);
    cautions(ui, &woven.cautions);
    signed(
        ui,
        "Check it before you print, watch the first layers, and keep the switch within reach. The \
         machine maker's manual comes first.",
    );
}

fn overtaken(ui: &mut Ui, session: &Session, revision: u64) {
    if session
        .doc
        .as_ref()
        .is_some_and(|d| d.revision() != revision)
    {
        warning(ui, "The plan has changed since then.");
    }
}

/// What reading the woven file back has found.
fn verdict(ui: &mut Ui, session: &Session, found: &ReadBack, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    heading(ui, "Checked");
    match &found.fault {
        Some(fault) => {
            let text = format!("Don't print it: {fault}.");
            boxed(ui, p.error, |ui| line(ui, Icon::Warning, p.error, &text));
        }
        None => line(ui, Icon::Sound, p.text, &fit(found)),
    }
    if let Some(mean) = found.mean_de00 {
        let [half, most] = found.within_de00;
        ui.label(format!(
            "At the skin, after the melt chamber: mean ΔE00 {mean:.1}; half within {half:.1}, 95 % \
             within {most:.1}."
        ))
        .on_hover_text("You can see a difference of 1 side by side.");
    }
    overtaken(ui, session, found.revision);
    cautions(ui, &found.cautions);
    if found.worst.is_empty() {
        return;
    }
    ui.add_space(4.0);
    note(
        ui,
        "The worst places: requested, as printed. Click one to see it.",
    );
    for (i, miss) in found.worst.iter().enumerate() {
        if place(ui, session, i, miss) {
            send.send(Command::LookAt(Box::new(*miss)));
        }
    }
}

fn fit(found: &ReadBack) -> String {
    let same = match (&found.same, &found.laws) {
        (Some(same), _) => format!(
            "The same print: {} moves at the same places in the same order, the same filament \
             within {:.0e} mm; {} cut in pieces.",
            same.moves,
            same.filament_mm.abs().max(1e-9),
            same.cut
        ),
        (None, Some(laws)) => format!(
            "The same print in another order: all {} moves are in their layers, {} of them in \
             pieces; {:.0} mm of filament goes into the purge block.",
            laws.moves, laws.cut, laws.purged_mm
        ),
        (None, None) => {
            "Woven from this plan. Choose the sliced toolpath to compare every move.".to_owned()
        }
    };
    format!("{same} {} changes of blend.", found.changes)
}

/// A row for a bad place; whether it was clicked.
fn place(ui: &mut Ui, session: &Session, number: usize, miss: &Miss) -> bool {
    let p = Palette::from_ui(ui);
    let size = vec2(ui.available_width(), 22.0);
    let (rect, response) = ui.allocate_exact_size(size, Sense::click());
    let on = session.toolpath.looked_at == Some(miss.point_mm);
    response.widget_info(|| {
        let name = format!("Worst place {}", number + 1);
        egui::WidgetInfo::selected(egui::WidgetType::Button, true, on, name)
    });
    let painter = ui.painter();
    let lit = on || response.hovered() || response.has_focus();
    let edge = if lit { p.accent } else { Color32::TRANSPARENT };
    let fill = if lit { p.raised } else { Color32::TRANSPARENT };
    painter.rect(
        rect,
        4.0,
        fill,
        Stroke::new(1.0, edge),
        egui::StrokeKind::Inside,
    );
    let patch = |left: f32| egui::Rect::from_min_size(rect.min + vec2(left, 3.0), vec2(16.0, 16.0));
    widgets::paint_swatch(ui, patch(4.0), shown(miss.asked));
    widgets::paint_swatch(ui, patch(21.0), shown(miss.laid));
    let font = egui::FontId::proportional(crate::theme::size::SMALL);
    let text = |left: f32, align: egui::Align2, text: String| {
        let at = egui::pos2(rect.left() + left, rect.center().y);
        ui.painter().text(at, align, text, font.clone(), p.text);
    };
    let left = egui::Align2::LEFT_CENTER;
    text(46.0, left, format!("ΔE00 {:.1}", miss.de00));
    text(
        118.0,
        left,
        format!("at {} mm", mm((miss.point_mm.z * 10.0).round() / 10.0)),
    );
    text(
        size.x - 6.0,
        egui::Align2::RIGHT_CENTER,
        format!("line {}", miss.line),
    );
    let [x, y, z] = miss.point_mm.to_array();
    let hint = format!(
        "x {x:.1}, y {y:.1}, z {z:.1} mm.\nRequested L* {:.0} a* {:.0} b* {:.0}, as printed L* \
         {:.0} a* {:.0} b* {:.0}.\nLine {} of the file.",
        miss.asked.l, miss.asked.a, miss.asked.b, miss.laid.l, miss.laid.a, miss.laid.b, miss.line
    );
    response.on_hover_text(hint).clicked()
}

fn shown(lab: Lab) -> Color32 {
    colour32(Xyz::from_lab(lab).to_srgb())
}
