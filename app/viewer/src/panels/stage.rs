//! The stage: the part itself. The scene draws it; here are the pointer, and what is drawn over
//! the part: contours, guides and the directions of space.

use egui::{
    Align2, Color32, CursorIcon, FontId, Key, PointerButton, Pos2, Rect, Response, Sense, Shape,
    Stroke, Ui, Vec2, WidgetInfo, WidgetType, pos2, vec2,
};
use geometry::DVec3;

use super::widgets::{colour32, held_with_pointer};
use crate::commands::{Command, Commands, Cutting, Hover};
use crate::model::tool::Tool;
use crate::model::view::Look;
use crate::session::Session;
use crate::theme::{Palette, size};

/// Shows the stage and follows the pointer on it. Gives where the stage lies, and where the
/// pointer is, if it is on it.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) -> (Rect, Option<Hover>) {
    let rect = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(rect, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(WidgetType::Other, true, "Stage"));
    let cursor = match session.tools.tool {
        _ if session.view.section.asks_facet => CursorIcon::PointingHand,
        Tool::Turn => CursorIcon::Grab,
        _ => CursorIcon::Crosshair,
    };
    let response = response.on_hover_cursor(cursor);
    look_around(ui, session, &response, send);
    use_tool(ui, session, &response, send);
    let painter = ui.painter().with_clip_rect(rect);
    let p = Palette::from_ui(ui);
    contours(&painter, session, p);
    guide(&painter, session, p);
    tool_marks(&painter, session, &response, p);
    directions(&painter, session, p);
    super::placing::marks(&painter, session, p);
    super::moves::marks(&painter, session, p);
    super::purge_blocks::labels(&painter, session, p);
    legend(&painter, session, p);
    level_button(ui, session, rect, send);
    (rect, hover(session, &response))
}

/// Turning, shifting and zooming.
fn look_around(ui: &Ui, session: &Session, response: &Response, send: &mut Commands) {
    let (space, shift) = ui.input(|i| (i.key_down(Key::Space), i.modifiers.shift));
    let by = response.drag_delta();
    let primary = response.dragged_by(PointerButton::Primary)
        && (session.tools.tool == Tool::Turn || space)
        && session.tools.gesture.is_none();
    let secondary = response.dragged_by(PointerButton::Secondary);
    let middle = response.dragged_by(PointerButton::Middle);
    if by != Vec2::ZERO {
        if middle || ((primary || secondary) && shift) {
            send.send(Command::Pan(by));
        } else if primary || secondary {
            send.send(Command::Orbit(by));
        }
    }
    if let Some(at) = response.hover_pos() {
        let (turned, pinched) = ui.input(|i| (i.smooth_scroll_delta.y, i.zoom_delta()));
        let factor = f64::from(turned * 0.004).exp() * f64::from(pinched);
        if factor != 1.0 && ui.input(|i| i.modifiers.alt) && session.tools.tool.has_radius() {
            send.send(Command::Brush(factor));
        } else if factor != 1.0 {
            send.send(Command::ZoomAt(at, factor));
        }
    }
}

/// What the tool does where the pointer is pressed, dragged and let go.
fn use_tool(ui: &Ui, session: &Session, response: &Response, send: &mut Commands) {
    let (pressed, down, space) = ui.input(|i| {
        (
            i.pointer.button_pressed(PointerButton::Primary),
            i.pointer.button_down(PointerButton::Primary),
            i.key_down(Key::Space),
        )
    });
    let at = response.interact_pointer_pos().or(response.hover_pos());
    // Where there is no pointer, a stroke waits until it is back.
    let Some(at) = at else { return };
    if session.view.section.asks_facet {
        if response.clicked_by(PointerButton::Primary) {
            send.send(Command::Section(Cutting::AlongFacet(at)));
        }
        return;
    }
    let drawing = session.tools.gesture.is_some();
    match session.tools.tool {
        Tool::Brush | Tool::Erase => {
            if pressed && response.contains_pointer() && !space {
                let straight = held_with_pointer(ui).shift;
                send.send(match straight {
                    true => Command::StraightTo(at),
                    false => Command::BeginStroke(at),
                });
            } else if down && drawing {
                send.send(Command::GoOnStroke(at));
            } else if !down && drawing {
                // What the pointer did since the last frame belongs to it.
                send.send(Command::GoOnStroke(at));
                send.send(Command::EndStroke);
            }
        }
        Tool::Place => {
            let held = session.tools.hold.is_some();
            let shift = held_with_pointer(ui).shift;
            if pressed && response.contains_pointer() && !space {
                send.send(Command::BeginPlacing(at));
            } else if held {
                // What the pointer did since the last frame belongs to it.
                send.send(Command::GoOnPlacing(at, shift));
                if !down {
                    send.send(Command::EndPlacing);
                }
            }
        }
        Tool::Box | Tool::Lasso => {
            let drawing = session.tools.outline.as_ref();
            if pressed && response.contains_pointer() && !space {
                send.send(Command::BeginOutline(at));
            } else if drawing.is_some_and(|drawing| !drawing.is_by_keys()) {
                // What the pointer did since the last frame belongs to it.
                send.send(Command::GoOnOutline(at));
                if !down {
                    send.send(Command::EndOutline);
                }
            }
        }
        _ => {
            if response.clicked_by(PointerButton::Primary) {
                send.send(Command::ClickTool(at));
            }
        }
    }
}

fn hover(session: &Session, response: &Response) -> Option<Hover> {
    let at = response.hover_pos()?;
    let looks = response.dragged() && session.tools.gesture.is_none();
    Some(match looks {
        true => Hover::Busy,
        false => Hover::Stage(at),
    })
}

/// The outlines where the part is cut, unless their face looks away.
fn contours(painter: &egui::Painter, session: &Session, p: Palette) {
    let (camera, stage) = (session.view.camera, session.view.stage);
    let Some(cut) = session.section() else {
        return;
    };
    if cut.plane.normal().dot(camera.axes().forward) > 1e-6 {
        return;
    }
    for outline in &cut.outlines {
        let points: Vec<Pos2> = outline
            .points_mm
            .iter()
            .filter_map(|q| camera.project(stage, *q))
            .collect();
        let stroke = Stroke::new(1.6, p.accent);
        painter.add(match outline.closed {
            true => Shape::closed_line(points, stroke),
            false => Shape::line(points, stroke),
        });
    }
}

/// The line that links the height under the pointer between ribbon and part.
fn guide(painter: &egui::Painter, session: &Session, p: Palette) {
    let Some(height) = session.marked_height_mm() else {
        return;
    };
    let view = &session.view;
    let stage = view.stage;
    let y = view.camera.ribbon_y(stage, height);
    let at_ribbon = pos2(stage.right(), y.clamp(stage.top(), stage.bottom()));
    let Some(doc) = &session.doc else { return };
    let (lo, hi) = doc.extent_mm();
    let to = match view.camera.is_level() {
        true => pos2(stage.left(), y),
        false if height >= lo && height <= hi => {
            let axis = doc.middle_mm().truncate().extend(height);
            match view.camera.project(stage, axis) {
                Some(on_axis) => on_axis,
                None => return,
            }
        }
        false => return,
    };
    let stroke = Stroke::new(1.0, p.text.gamma_multiply(0.45));
    painter.extend(Shape::dashed_line(&[at_ribbon, to], stroke, 4.0, 4.0));
    if !view.camera.is_level() {
        painter.circle_filled(to, 2.5, p.text);
    }
}

fn tool_marks(painter: &egui::Painter, session: &Session, response: &Response, p: Palette) {
    let view = &session.view;
    let stage = view.stage;
    if let Some(from) = session.tools.straight_from
        && let Some(from) = view.camera.project(stage, from)
    {
        painter.circle_stroke(from, 5.0, Stroke::new(2.0, p.accent));
        if let Some(at) = response.hover_pos() {
            painter.line_segment([from, at], Stroke::new(1.5, p.accent));
        }
    }
    measure_marks(painter, session, response, p);
    outline_marks(painter, session, response, p);
    if !session.tools.tool.has_radius() {
        return;
    }
    let radius = (session.tools.brush_mm / view.camera.mm_per_point) as f32;
    match response.hover_pos() {
        Some(at) => {
            painter.circle_stroke(at, radius, Stroke::new(2.5, p.panel.gamma_multiply(0.7)));
            painter.circle_stroke(at, radius, Stroke::new(1.2, p.text));
        }
        // Where the tool works when it is used by keys.
        None => cross(painter, stage.center(), p.text.gamma_multiply(0.5)),
    }
}

fn cross(painter: &egui::Painter, at: Pos2, ink: Color32) {
    for arm in [vec2(9.0, 0.0), vec2(0.0, 9.0)] {
        painter.line_segment([at - arm, at + arm], Stroke::new(1.0, ink));
    }
}

/// The outline that is being drawn, or where keys begin one.
fn outline_marks(painter: &egui::Painter, session: &Session, response: &Response, p: Palette) {
    let Some(drawing) = &session.tools.outline else {
        if session.tools.tool.outlines() && response.hover_pos().is_none() {
            cross(
                painter,
                session.view.stage.center(),
                p.text.gamma_multiply(0.5),
            );
        }
        return;
    };
    let corners = drawing.corners();
    for stroke in [Stroke::new(3.5, p.panel), Stroke::new(1.5, p.accent)] {
        painter.add(Shape::closed_line(corners.clone(), stroke));
    }
    if drawing.is_by_keys() {
        cross(painter, drawing.at(), p.text);
    }
}

/// The distance that is being measured.
fn measure_marks(painter: &egui::Painter, session: &Session, response: &Response, p: Palette) {
    let (camera, stage) = (session.view.camera, session.view.stage);
    let measure = session.tools.measure;
    let at = |point: Option<DVec3>| point.and_then(|q| camera.project(stage, q));
    let Some(from) = at(measure.from_mm) else {
        return;
    };
    let Some(to) = at(measure.to_mm).or(response.hover_pos()) else {
        return;
    };
    painter.line_segment([from, to], Stroke::new(3.5, p.panel));
    painter.line_segment([from, to], Stroke::new(1.5, p.text));
    for end in [from, to] {
        painter.circle(end, 3.5, p.panel, Stroke::new(1.5, p.text));
    }
    let Some(words) = measure.words() else { return };
    let font = FontId::proportional(size::BODY);
    let text = painter.layout_no_wrap(words, font, p.text);
    let middle = from + (to - from) * 0.5 - vec2(text.size().x * 0.5, text.size().y + 12.0);
    let ground = Rect::from_min_size(middle, text.size()).expand2(vec2(7.0, 4.0));
    painter.rect_filled(ground, 5.0, p.raised);
    painter.galley(middle, text, p.text);
}

/// Small arrows along x, y and z.
fn directions(painter: &egui::Painter, session: &Session, p: Palette) {
    let view = &session.view;
    let origin = view.stage.left_bottom() + vec2(44.0, -44.0);
    let axes = view.camera.axes();
    let font = FontId::proportional(size::SMALL);
    for (direction, name) in [(DVec3::X, "x"), (DVec3::Y, "y"), (DVec3::Z, "z")] {
        let shown = vec2(
            direction.dot(axes.right) as f32,
            -direction.dot(axes.up) as f32,
        );
        let length = shown.length();
        if length < 0.12 {
            painter.circle_stroke(origin, 2.5, Stroke::new(1.0, p.quiet));
            continue;
        }
        let tip = origin + shown * 24.0;
        let stroke = Stroke::new(1.2, p.quiet);
        painter.line_segment([origin, tip], stroke);
        let at = origin + shown * (24.0 + 8.0 / length.max(0.5));
        painter.text(at, Align2::CENTER_CENTER, name, font.clone(), p.quiet);
    }
}

/// Says which colours are shown, unless they are those asked for.
fn legend(painter: &egui::Painter, session: &Session, p: Palette) {
    let look = session.view.look;
    if look == Look::Asked {
        return;
    }
    let at = session.view.stage.left_top() + vec2(20.0, 22.0);
    let title = match look {
        Look::Difference => "Difference between requested and printed",
        Look::Asked | Look::Printed => "As printed: predicted from the machine",
    };
    let font = FontId::proportional(size::BODY);
    painter.text(at, Align2::LEFT_CENTER, title, font, p.text);
    let figures = session.printed_now().map(|printed| &printed.figures);
    let text = match figures {
        Some(Some(f)) => format!(
            "ΔE00: mean {:.1}, 95 % of the skin within {:.1}, at most {:.1}",
            f.mean_de00, f.p95_de00, f.worst_de00
        ),
        Some(None) => "The prediction failed.".to_owned(),
        None => "Calculating; until then you see the requested colours.".to_owned(),
    };
    let font = FontId::proportional(size::SMALL);
    painter.text(
        at + vec2(0.0, 19.0),
        Align2::LEFT_CENTER,
        text,
        font,
        p.text,
    );
    if look == Look::Difference && matches!(figures, Some(Some(_))) {
        scale_of_differences(painter, at + vec2(0.0, 54.0), p);
    }
}

/// What the colours of the map of differences mean.
fn scale_of_differences(painter: &egui::Painter, at: Pos2, p: Palette) {
    let bar = Rect::from_min_size(at, vec2(16.0, 140.0));
    let colours: Vec<Color32> = (0..=10)
        .map(|i| crate::jobs::colours::difference_colour(f64::from(i)))
        .map(|c| colour32(crate::jobs::colours::encoded(c)))
        .collect();
    painter.add(super::stack::gradient(bar, &colours));
    let font = FontId::proportional(size::SMALL);
    let label = |y: f32, text: &str| {
        let at = pos2(bar.right() + 6.0, y);
        painter.text(at, Align2::LEFT_CENTER, text, font.clone(), p.text);
    };
    painter.text(
        bar.left_top() - vec2(0.0, 12.0),
        Align2::LEFT_CENTER,
        "ΔE00",
        font.clone(),
        p.text,
    );
    label(bar.bottom(), "0  none");
    label(bar.bottom() - bar.height() * 0.1, "1  visible side by side");
    label(
        bar.bottom() - bar.height() * 0.5,
        "5  clearly another colour",
    );
    label(bar.top(), "10 or more");
}

fn level_button(ui: &mut Ui, session: &Session, stage: Rect, send: &mut Commands) {
    if session.view.camera.is_level() {
        return;
    }
    let rect = Rect::from_min_size(stage.right_top() + vec2(-150.0, 10.0), vec2(140.0, 26.0));
    let button = egui::Button::new("Line up with ribbon").small();
    let response = ui.put(rect, button);
    if response
        .on_hover_text(
            "The view is tilted, so heights on the part and on the ribbon don't line \
                        up. This makes it level.  (L)",
        )
        .clicked()
    {
        send.send(Command::Level);
    }
}
