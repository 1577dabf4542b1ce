//! What is dragged on the ribbon: the layer cursor, the edges of a band, the stops of a fade.
//! Each handle also takes the focus and then follows the arrow keys.

use egui::epaint::PathShape;
use egui::{
    Align2, Color32, CursorIcon, EventFilter, FontId, Key, Pos2, Rect, Response, Sense, Shape,
    Stroke, Ui, Vec2, WidgetInfo, WidgetType, pos2, vec2,
};
use geometry::{Field, Mask};
use plan::Paint;

use super::sheet::Sheet;
use crate::commands::{Command, Commands, Edge};
use crate::panels::widgets::mm;
use crate::theme::size;

/// Where a handle was taken to.
struct Taken {
    to_mm: f64,
    done: bool,
}

/// Makes a rectangle into a handle at a height.
fn handle(
    ui: &Ui,
    sheet: &Sheet<'_>,
    rect: Rect,
    id: egui::Id,
    name: &str,
    at_mm: f64,
) -> (Response, Option<Taken>) {
    let seen = rect.intersect(sheet.scale.rect);
    let response = ui
        .interact(seen, id, Sense::click_and_drag())
        .on_hover_and_drag_cursor(CursorIcon::ResizeVertical);
    response.widget_info(|| {
        let mut info = WidgetInfo::slider(true, at_mm, name);
        info.typ = WidgetType::Slider;
        info
    });
    let taken =
        dragged(ui, sheet, &response, at_mm).or_else(|| nudged(ui, sheet, &response, at_mm));
    (response, taken)
}

fn dragged(ui: &Ui, sheet: &Sheet<'_>, response: &Response, at_mm: f64) -> Option<Taken> {
    // Where in the handle it was taken hold of, so that it does not jump.
    let grip = response.id.with("grip");
    if response.drag_started() {
        let press = ui.input(|i| i.pointer.press_origin());
        let off = press.map_or(0.0, |p| p.y - sheet.scale.y(at_mm));
        ui.data_mut(|d| d.insert_temp(grip, off));
    }
    let done = response.drag_stopped();
    if !response.dragged() && !done {
        return None;
    }
    let off: f32 = ui.data(|d| d.get_temp(grip)).unwrap_or_default();
    let pointer = response.interact_pointer_pos()?;
    let height = sheet.scale.height_mm(pointer.y - off);
    let free = ui.input(|i| i.modifiers.alt);
    let to_mm = if free {
        height
    } else {
        sheet.scale.snapped_mm(height)
    };
    Some(Taken { to_mm, done })
}

fn nudged(ui: &Ui, sheet: &Sheet<'_>, response: &Response, at_mm: f64) -> Option<Taken> {
    if !response.has_focus() {
        return None;
    }
    let keep_arrows = EventFilter {
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|m| m.set_focus_lock_filter(response.id, keep_arrows));
    let (up, down, far) = ui.input(|i| {
        (
            i.key_pressed(Key::ArrowUp),
            i.key_pressed(Key::ArrowDown),
            i.modifiers.shift,
        )
    });
    let step = sheet.view.plan.layers.layer_mm * if far { 10.0 } else { 1.0 };
    let by = step * (f64::from(u8::from(up)) - f64::from(u8::from(down)));
    (by != 0.0).then_some(Taken {
        to_mm: at_mm + by,
        done: true,
    })
}

/// The layer cursor: a flag on the ruler and a line across.
pub(super) fn cursor(ui: &mut Ui, sheet: &Sheet<'_>, send: &mut Commands) {
    let at_mm = sheet.view.cursor_mm;
    let y = sheet.scale.y(at_mm);
    if !sheet.scale.rect.y_range().expand(12.0).contains(y) {
        return;
    }
    let p = sheet.palette;
    let (left, right) = sheet.columns.ruler;
    let flag = Rect::from_min_max(pos2(left, y - 9.0), pos2(right, y + 9.0));
    let id = ui.id().with("layer cursor");
    let (response, taken) = handle(ui, sheet, flag, id, "Layer cursor", at_mm);
    let painter = ui.painter();
    let across = left..=sheet.columns.lanes.1;
    painter.hline(across, y, Stroke::new(1.4, p.accent));
    let corners = vec![
        pos2(left + 1.0, y - 9.0),
        pos2(right - 8.0, y - 9.0),
        pos2(right, y),
        pos2(right - 8.0, y + 9.0),
        pos2(left + 1.0, y + 9.0),
    ];
    painter.add(PathShape::convex_polygon(
        corners,
        p.accent,
        focus_ring(&response, p.text),
    ));
    painter.text(
        pos2((left + right - 8.0) * 0.5, y),
        Align2::CENTER_CENTER,
        mm((at_mm * 100.0).round() / 100.0),
        FontId::proportional(size::SMALL),
        p.on_accent,
    );
    if let Some(taken) = taken {
        send.send(Command::CursorTo(taken.to_mm));
    }
    response.on_hover_text(
        "Layer cursor: drag it, or use the up and down keys. Look inside cuts \
                            the part open here.",
    );
}

fn focus_ring(response: &Response, colour: Color32) -> Stroke {
    match response.has_focus() {
        true => Stroke::new(2.0, colour),
        false => Stroke::NONE,
    }
}

/// The edges of the chosen region, when it is a band and not locked.
pub(super) fn band(ui: &mut Ui, sheet: &Sheet<'_>, send: &mut Commands) {
    let view = sheet.view;
    let Some(region) = view.region else { return };
    let Some(r) = view.plan.regions.get(region).filter(|r| !r.locked) else {
        return;
    };
    let Mask::Band { from_mm, to_mm } = r.mask else {
        return;
    };
    for (edge, at_mm, name) in [
        (Edge::Bottom, from_mm, format!("Bottom of {}", r.name)),
        (Edge::Top, to_mm, format!("Top of {}", r.name)),
    ] {
        let y = sheet.scale.y(at_mm);
        let (left, right) = (sheet.columns.blends.0, sheet.columns.lanes.1);
        let bar = Rect::from_min_max(pos2(left, y - 5.0), pos2(right, y + 5.0));
        let id = ui.id().with(("band edge", edge));
        let (response, taken) = handle(ui, sheet, bar, id, &name, at_mm);
        draw_edge(ui, sheet, &response, (left, right), y);
        if response.hovered() || response.dragged() {
            tag(
                ui,
                sheet,
                pos2(sheet.columns.curves.1, y),
                &format!("{} mm", mm(at_mm)),
            );
        }
        if let Some(Taken { to_mm, done }) = taken {
            let moved = Command::MoveEdge {
                region,
                edge,
                to_mm,
            };
            send.send_on(moved, done);
        }
    }
}

fn draw_edge(ui: &Ui, sheet: &Sheet<'_>, response: &Response, x: (f32, f32), y: f32) {
    let p = sheet.palette;
    let thick = match response.hovered() || response.dragged() || response.has_focus() {
        true => 3.0,
        false => 2.0,
    };
    let painter = ui.painter();
    painter.hline(x.0..=x.1, y, Stroke::new(thick, p.accent));
    let grip = Rect::from_center_size(
        pos2((x.0 + sheet.columns.blends.1) * 0.5, y),
        vec2(22.0, 7.0),
    );
    painter.rect(
        grip,
        3.0,
        p.accent,
        Stroke::new(1.0, p.on_accent),
        egui::StrokeKind::Outside,
    );
}

/// The stops of the chosen region's fade, when it runs along the height.
pub(super) fn stops(ui: &mut Ui, sheet: &Sheet<'_>, send: &mut Commands) {
    let view = sheet.view;
    let Some(region) = view.region else { return };
    let Some(r) = view.plan.regions.get(region) else {
        return;
    };
    let Paint::Fade {
        along: Field::Height,
        fade,
    } = &r.paint
    else {
        return;
    };
    for (stop, s) in fade.stops.iter().enumerate() {
        let at = pos2(sheet.columns.blends.1 + 3.0, sheet.scale.y(s.at_mm));
        let rect = Rect::from_center_size(at, Vec2::splat(18.0));
        let id = ui.id().with(("stop", stop));
        let name = format!("Stop {} of {}", stop + 1, r.name);
        let (response, taken) = handle(ui, sheet, rect, id, &name, s.at_mm);
        let chosen = view.stop == Some(stop);
        draw_stop(ui, sheet, &response, at, (view.colour)(&s.shares), chosen);
        if response.hovered() || response.dragged() {
            tag(
                ui,
                sheet,
                at + vec2(12.0, 0.0),
                &format!("{} mm", mm(s.at_mm)),
            );
        }
        if response.clicked() || response.drag_started() {
            send.send(Command::ChooseStop(stop));
        }
        if let Some(Taken { to_mm, done }) = taken.filter(|_| !r.locked) {
            let moved = Command::MoveStop {
                region,
                stop,
                to_mm,
            };
            send.send_on(moved, done);
        }
    }
}

fn draw_stop(
    ui: &Ui,
    sheet: &Sheet<'_>,
    response: &Response,
    at: Pos2,
    fill: Color32,
    chosen: bool,
) {
    let p = sheet.palette;
    let r = match response.hovered() || response.dragged() || chosen {
        true => 8.5,
        false => 7.0,
    };
    let painter = ui.painter();
    let left = sheet.columns.blends.0;
    painter.hline(left..=at.x, at.y, Stroke::new(1.0, p.text));
    let corners = vec![
        at - vec2(r, 0.0),
        at - vec2(0.0, r),
        at + vec2(r, 0.0),
        at + vec2(0.0, r),
    ];
    let ring = match chosen || response.has_focus() {
        true => Stroke::new(2.5, p.accent),
        false => Stroke::new(1.5, p.text),
    };
    painter.add(PathShape::convex_polygon(
        corners.clone(),
        fill,
        Stroke::NONE,
    ));
    painter.add(Shape::closed_line(corners, ring));
}

/// A dotted line at the height that the pointer is at.
pub(super) fn hover_line(ui: &Ui, sheet: &Sheet<'_>) {
    let Some(height) = sheet.view.hover_mm else {
        return;
    };
    let y = sheet.scale.y(height);
    let ends = [
        pos2(sheet.columns.ruler.0, y),
        pos2(sheet.columns.lanes.1, y),
    ];
    let stroke = Stroke::new(1.0, sheet.palette.text);
    ui.painter()
        .extend(Shape::dashed_line(&ends, stroke, 3.0, 3.0));
}

/// The band that is being drawn.
pub(super) fn draw_new_band(ui: &Ui, sheet: &Sheet<'_>, from_mm: f64, to_mm: f64) {
    let p = sheet.palette;
    let x = (sheet.columns.blends.0, sheet.columns.lanes.1);
    let rect = sheet.scale.span(x, from_mm, to_mm);
    ui.painter().rect(
        rect,
        0.0,
        p.accent.gamma_multiply(0.25),
        Stroke::new(1.5, p.accent),
        egui::StrokeKind::Middle,
    );
    let text = format!("{} to {} mm", mm(from_mm), mm(to_mm));
    tag(
        ui,
        sheet,
        pos2(sheet.columns.curves.0, rect.center().y),
        &text,
    );
}

/// A small label beside a handle.
fn tag(ui: &Ui, sheet: &Sheet<'_>, at: Pos2, text: &str) {
    let p = sheet.palette;
    let painter = ui.painter();
    let font = FontId::proportional(size::SMALL);
    let galley = painter.layout_no_wrap(text.to_owned(), font, p.text);
    let rect = Rect::from_min_size(
        at + vec2(4.0, -galley.size().y * 0.5 - 2.0),
        galley.size() + vec2(10.0, 4.0),
    );
    painter.rect(
        rect,
        3.0,
        p.raised,
        Stroke::new(1.0, p.line),
        egui::StrokeKind::Inside,
    );
    painter.galley(rect.min + vec2(5.0, 2.0), galley, p.text);
}
