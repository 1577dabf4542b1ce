//! The photograph of a test print with what was found on it, and the frame round the print's face
//! with its four handles.

use egui::{
    Align2, Color32, CursorIcon, EventFilter, FontId, Id, Key, Pos2, Rect, Response, Sense, Shape,
    Stroke, Ui, Vec2, WidgetInfo, WidgetType, vec2,
};
use photograph::laid::{CORNERS, Frame};

use super::canvas::{Laid, blank, picture_of, textures};
use crate::commands::{Command, Commands};
use crate::session::Session;
use crate::theme::{Palette, size};

/// Half the side of a handle that is taken hold of, points.
const GRIP: f32 = 11.0;

/// Shows it within so much room.
pub(super) fn show(ui: &mut Ui, session: &Session, most: Vec2, send: &mut Commands) {
    let Some(seen) = session.photographs.shown() else {
        return blank(
            ui,
            most,
            "The photograph is shown here\nonce it is read.\n\nThe print lies on the card that\n\
             `tintfall card` writes. Drop the\nphotograph on the window,\nor choose it.",
        );
    };
    let picture = &seen.picture;
    let made = || vec![picture_of(picture.size_px, &picture.rgba)];
    let textures = textures(ui, "photograph", (seen, 0), made);
    let frame = seen.frame.0.iter();
    let laid = Laid::round(ui, &seen.lines, frame, seen.size_px, most);
    laid.draw(ui, textures.first(), &seen.lines);
    if let Some(frame) = session.photographs.frame() {
        frame_on(ui, session, &laid, &frame, send);
    }
}

/// The frame, its ends by name, and its handles.
fn frame_on(ui: &Ui, session: &Session, laid: &Laid, frame: &Frame, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    let painter = ui.painter().with_clip_rect(laid.rect);
    let corners = frame.0.map(|corner| laid.at(corner));
    // Light on dark, so that it is seen on whatever the photograph shows.
    for (width, colour) in [(4.0, Color32::from_black_alpha(150)), (2.0, Color32::WHITE)] {
        let stroke = Stroke::new(width, colour);
        painter.add(Shape::closed_line(corners.to_vec(), stroke));
    }
    let [a, b, c, d] = corners;
    let middle = |p: Pos2, q: Pos2| p + (q - p) * 0.5;
    let (top, foot) = (middle(a, b), middle(d, c));
    let along = (top - foot).normalized() * 14.0;
    tag(ui, laid, top + along, "Upper end");
    tag(ui, laid, foot - along, "Foot");
    let mut moved = *frame;
    let mut changed = false;
    for (i, (name, corner)) in CORNERS.into_iter().zip(corners).enumerate() {
        let at = handle(ui, laid, (i, name), corner, p);
        if let (Some(at), Some(to)) = (at, moved.0.get_mut(i)) {
            *to = laid.px(at);
            changed = true;
        }
    }
    if changed && !session.photographs.is_working() {
        let mut form = session.photographs.form.clone();
        form.frame = Some(moved);
        send.send(Command::SetPhotoForm(Box::new(form)));
    }
}

/// A handle; where it was taken to, if it was.
fn handle(
    ui: &Ui,
    laid: &Laid,
    (i, name): (usize, &str),
    corner: Pos2,
    p: Palette,
) -> Option<Pos2> {
    let rect = Rect::from_center_size(corner, Vec2::splat(2.0 * GRIP)).intersect(laid.rect);
    let id = Id::new(("frame's corner", i));
    let response = ui
        .interact(rect, id, Sense::drag())
        .on_hover_and_drag_cursor(CursorIcon::Move);
    let name = format!("Frame: {name}");
    response.widget_info(|| WidgetInfo::labeled(WidgetType::DragValue, true, &name));
    let lively = response.hovered() || response.dragged() || response.has_focus();
    let radius = if lively { 8.0 } else { 6.5 };
    let painter = ui.painter().with_clip_rect(laid.rect.expand(9.0));
    painter.circle(corner, radius, p.accent, Stroke::new(2.0, Color32::WHITE));
    painter.circle_stroke(
        corner,
        radius + 1.5,
        Stroke::new(1.0, Color32::from_black_alpha(150)),
    );
    let to = dragged(ui, &response, corner).or_else(|| nudged(ui, &response, corner));
    response.on_hover_text(format!("{name}: drag it, or use the arrow keys."));
    to
}

fn dragged(ui: &Ui, response: &Response, corner: Pos2) -> Option<Pos2> {
    // Where in the handle it was taken hold of, so that it does not jump.
    let grip = response.id.with("grip");
    if response.drag_started() {
        let press = ui.input(|i| i.pointer.press_origin());
        let off = press.map_or(Vec2::ZERO, |press| press - corner);
        ui.data_mut(|d| d.insert_temp(grip, off));
        // The arrow keys then finish what the pointer began.
        response.request_focus();
    }
    if !response.dragged() {
        return None;
    }
    let off: Vec2 = ui.data(|d| d.get_temp(grip)).unwrap_or_default();
    let to = response.interact_pointer_pos()? - off;
    (to != corner).then_some(to)
}

/// Arrow keys move it by a point, with Shift by ten.
fn nudged(ui: &Ui, response: &Response, corner: Pos2) -> Option<Pos2> {
    if !response.has_focus() {
        return None;
    }
    let keep_arrows = EventFilter {
        horizontal_arrows: true,
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|m| m.set_focus_lock_filter(response.id, keep_arrows));
    let by = ui.input(|i| {
        let pressed = |key| f32::from(u8::from(i.key_pressed(key)));
        let far = if i.modifiers.shift { 10.0 } else { 1.0 };
        far * vec2(
            pressed(Key::ArrowRight) - pressed(Key::ArrowLeft),
            pressed(Key::ArrowDown) - pressed(Key::ArrowUp),
        )
    });
    (by != Vec2::ZERO).then(|| corner + by)
}

/// The name of an end, beside it.
fn tag(ui: &Ui, laid: &Laid, at: Pos2, text: &str) {
    let painter = ui.painter().with_clip_rect(laid.rect);
    let font = FontId::proportional(size::SMALL);
    let galley = painter.layout_no_wrap(text.to_owned(), font, Color32::WHITE);
    let room = galley.size() + vec2(10.0, 4.0);
    let inside = laid.rect.shrink2(room / 2.0);
    let at = match inside.is_positive() {
        true => at.clamp(inside.min, inside.max),
        false => at,
    };
    let rect = Align2::CENTER_CENTER.anchor_size(at, room);
    painter.rect_filled(rect, 3.0, Color32::from_black_alpha(190));
    painter.galley(rect.min + vec2(5.0, 2.0), galley, Color32::WHITE);
}
