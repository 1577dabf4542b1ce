//! The moves of the layer that is followed: a strip of its colours along the filament, in the
//! order of printing, to be stepped and dragged through; and the move that it stands at.

use blend::Srgb;
use egui::{
    Align, Align2, CursorIcon, FontId, Layout, Mesh, Rect, RichText, Sense, Shape, Stroke, Ui,
    Vec2, WidgetInfo, WidgetType, pos2, vec2,
};
use geometry::DVec3;

use super::icon::Icon;
use super::shortcuts;
use super::widgets::{colour32, mm, note, percent, small_icon, swatch};
use crate::commands::{Command, Commands, Entering};
use crate::jobs::follow::Layer;
use crate::model::names::file_name;
use crate::model::strands::colour_of;
use crate::session::Session;
use crate::theme::{Palette, size};

/// Height of the strip, points.
const STRIP: f32 = 24.0;

/// Shows the moves.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.horizontal(|ui| steps(ui, session, send));
    strip(ui, session, send);
    facts(ui, session);
}

/// Where it stands, in words, and the buttons that step.
fn steps(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(follow) = &session.toolpath.follow else {
        return;
    };
    let (layer, layers) = (follow.layer + 1, follow.layers());
    let heights = follow.opened.heights_mm(follow.layer).unwrap_or_default();
    let count = follow.now().map(|l| l.moves.moves.len());
    let at = match count {
        Some(count) => format!("move {} of {count}", follow.step + 1),
        None => "being read…".to_owned(),
    };
    let name = file_name(follow.file());
    let copies = follow.opened.copies;
    for (icon, command) in [
        (Icon::Start, Command::EnterLayer(Entering::First)),
        (Icon::Back, Command::Moves(-1)),
        (Icon::On, Command::Moves(1)),
        (Icon::End, Command::EnterLayer(Entering::Last)),
    ] {
        let can = session.can(&command);
        let hint = shortcuts::hint(&command);
        let name = shortcuts::find(&command).map_or("", |e| e.name);
        let button = ui.add_enabled_ui(can, |ui| small_icon(ui, icon, name, &hint, false));
        if button.inner.clicked() {
            send.send(command);
        }
    }
    ui.label(RichText::new(format!("Layer {layer} of {layers}, {at}")).strong());
    note(ui, format!("top at {} mm", mm(heights.1)));
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
        let hint = shortcuts::hint(&Command::Follow);
        if small_icon(ui, Icon::Close, "Stop following", &hint, false).clicked() {
            send.send(Command::Follow);
        }
        let more = match copies {
            0 | 1 => String::new(),
            n => format!(" ({n} copies; the first is on the part)"),
        };
        let label = egui::Label::new(RichText::new(format!("{name}{more}")).small());
        ui.add(label.truncate());
    });
}

/// The layer's colours along its filament, with a mark at the move.
fn strip(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    let room = vec2(ui.available_width(), STRIP + 6.0);
    let (rect, response) = ui.allocate_exact_size(room, Sense::click_and_drag());
    let response = response.on_hover_cursor(CursorIcon::ResizeHorizontal);
    let Some(follow) = &session.toolpath.follow else {
        return;
    };
    let share = follow.share();
    response.widget_info(|| {
        let mut info = WidgetInfo::slider(true, share * 100.0, "Moves of the layer");
        info.typ = WidgetType::Slider;
        info
    });
    let bar = rect.shrink2(vec2(4.0, 3.0));
    ui.painter().rect_filled(bar, 2.0, p.well);
    let x_of = |share: f64| bar.left() + bar.width() * share as f32;
    if let Some(layer) = follow.now() {
        ui.painter().add(colours(bar, &layer.strip, share, p));
        for at in changes(layer) {
            let x = x_of(at);
            let foot = [pos2(x, bar.bottom()), pos2(x, bar.bottom() + 3.0)];
            ui.painter().line_segment(foot, Stroke::new(1.0, p.text));
        }
    }
    let edge = Stroke::new(1.0, p.line);
    ui.painter()
        .rect_stroke(bar, 2.0, edge, egui::StrokeKind::Inside);
    let x = x_of(share);
    let mark = Rect::from_center_size(pos2(x, bar.center().y), vec2(5.0, rect.height()));
    let ring = match response.has_focus() {
        true => Stroke::new(2.0, p.text),
        false => Stroke::new(1.0, p.on_accent),
    };
    ui.painter()
        .rect(mark, 2.0, p.accent, ring, egui::StrokeKind::Outside);
    let at = |x: f32| f64::from((x - bar.left()) / bar.width().max(1.0));
    let hovered = response.hover_pos().and_then(|pos| {
        let step = follow.move_at(at(pos.x))?;
        let layer = follow.now()?;
        let laid = layer.moves.moves.get(step)?;
        Some(format!(
            "Move {}, line {}\n{}",
            step + 1,
            laid.line,
            layer.moves.text(laid)
        ))
    });
    let taken = response
        .interact_pointer_pos()
        .filter(|_| response.dragged() || response.clicked());
    if let Some(pos) = taken {
        send.send(Command::MoveAtShare(at(pos.x)));
    }
    match hovered.filter(|_| !response.dragged()) {
        Some(text) => response.on_hover_text_at_pointer(text),
        None => response,
    };
}

/// What is laid so far in full, what is to come more faintly.
fn colours(bar: Rect, strip: &[Srgb], share: f64, p: Palette) -> Shape {
    let mut mesh = Mesh::default();
    let width = bar.width() / strip.len().max(1) as f32;
    for (i, colour) in strip.iter().enumerate() {
        let left = bar.left() + width * i as f32;
        let colour = colour32(*colour);
        let to_come = (i as f64 + 0.5) / strip.len() as f64 > share;
        let top = match to_come {
            true => bar.center().y + 3.0,
            false => bar.top(),
        };
        let colour = match to_come {
            true => colour.lerp_to_gamma(p.well, 0.35),
            false => colour,
        };
        let rect = Rect::from_min_max(pos2(left, top), pos2(left + width + 0.5, bar.bottom()));
        mesh.add_colored_rect(rect, colour);
    }
    Shape::mesh(mesh)
}

/// Shares of the filament at which another blend is fed.
fn changes(layer: &Layer) -> Vec<f64> {
    const MOST: usize = 60;
    let moves = &layer.moves.moves;
    let all = moves.last().map_or(0.0, |m| m.filament_mm);
    if all <= 0.0 {
        return Vec::new();
    }
    let pairs = moves.iter().zip(moves.iter().skip(1));
    let found: Vec<f64> = pairs
        .filter(|(a, b)| a.fed != b.fed)
        .map(|(a, _)| a.filament_mm / all)
        .collect();
    // More of them would say nothing.
    if found.len() > MOST {
        Vec::new()
    } else {
        found
    }
}

/// The move: its line, what is fed, what comes out, what the plan wants.
fn facts(ui: &mut Ui, session: &Session) {
    let follow = session.toolpath.follow.as_ref();
    let Some((follow, layer)) = follow.and_then(|f| Some((f, f.now()?))) else {
        note(ui, "Reading the layer…");
        note(ui, " ");
        return;
    };
    let Some(laid) = layer.moves.moves.get(follow.step) else {
        note(ui, "Nothing is printed in this layer.");
        note(ui, " ");
        return;
    };
    let patch = vec2(16.0, 16.0);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let model = follow.opened.painted().model();
        match layer.moves.fed(laid) {
            Some(fed) => {
                swatch(ui, model.mix(&fed).to_srgb(), patch);
                let shares: Vec<String> = fed.as_slice().iter().map(|s| percent(*s)).collect();
                ui.label(format!("fed {}", shares.join(" · ")))
                    .on_hover_text(
                        "The blend that the file commands here, in the order of the spools.",
                    );
            }
            None => {
                ui.label("no blend commanded yet");
            }
        }
        ui.add_space(8.0);
        let piece = laid.pieces.end.checked_sub(1);
        let piece = piece.and_then(|i| layer.moves.pieces.get(i));
        if let Some(piece) = piece {
            swatch(ui, colour_of(piece), patch);
            ui.label("laid")
                .on_hover_text("The colour that comes out here, after the melt chamber.");
            ui.add_space(8.0);
            if let Some((colour, de00)) = session.planned_at(piece) {
                swatch(ui, colour, patch);
                let text = format!("planned, ΔE00 {de00:.1}");
                ui.label(text)
                    .on_hover_text("The colour that the plan requests at the nearest skin.");
            }
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let all = layer.moves.moves.last().map_or(0.0, |m| m.filament_mm);
            let text = format!("{:.1} of {all:.1} mm of filament", laid.filament_mm);
            ui.label(text)
                .on_hover_text("Filament of this layer up to the end of this move.");
        });
    });
    ui.horizontal(|ui| {
        note(ui, format!("line {}", laid.line));
        let text = RichText::new(layer.moves.text(laid)).monospace();
        ui.add(egui::Label::new(text).truncate());
        if layer.moves.cut_off {
            note(ui, "The layer is too long, so its last moves are left out.");
        }
    });
}

/// On the stage: the move in hand, the nozzle over its end, and a bad place that is looked at.
pub(super) fn marks(painter: &egui::Painter, session: &Session, p: Palette) {
    let (camera, stage) = (&session.view.camera, session.view.stage);
    if let Some(point) = session.toolpath.looked_at
        && let Some(at) = camera.project(stage, point)
    {
        painter.circle_stroke(at, 13.0, Stroke::new(3.0, p.panel));
        painter.circle_stroke(at, 13.0, Stroke::new(1.6, p.accent));
    }
    let Some(follow) = &session.toolpath.follow else {
        return;
    };
    let moves = follow.now().map(|l| &l.moves);
    let laid = moves.and_then(|m| m.moves.get(follow.step).map(|laid| (m, laid)));
    if let Some((moves, laid)) = laid {
        let pieces = moves.pieces.get(laid.pieces.clone()).unwrap_or_default();
        let place = |at: [f32; 3]| camera.project(stage, DVec3::from(at.map(f64::from)));
        let first = pieces.first().map(|p| p.from_mm);
        let points: Vec<_> = first
            .into_iter()
            .chain(pieces.iter().map(|p| p.to_mm))
            .filter_map(place)
            .collect();
        if let Some(&tip) = points.last() {
            painter.add(Shape::line(points, Stroke::new(2.0, p.accent)));
            nozzle(painter, tip, p);
        }
    }
    let at = stage.left_bottom() + vec2(92.0, -20.0);
    if let Some(layer) = follow.now()
        && layer.moves.moves.is_empty()
    {
        let font = FontId::proportional(size::BODY);
        painter.text(
            at,
            Align2::LEFT_CENTER,
            "Nothing is printed in this layer.",
            font,
            p.text,
        );
    }
}

/// A small nozzle with its tip at a place.
fn nozzle(painter: &egui::Painter, tip: egui::Pos2, p: Palette) {
    let outline = [
        Vec2::ZERO,
        vec2(-4.0, -7.0),
        vec2(-4.0, -15.0),
        vec2(4.0, -15.0),
        vec2(4.0, -7.0),
    ];
    let corners = outline.map(|by| tip + by).to_vec();
    let edge = Stroke::new(1.2, p.panel);
    painter.add(Shape::convex_polygon(corners, p.text, edge));
}
