//! The photograph with what was found on it, and the frame round the print's face with its four
//! handles.

use std::sync::{Arc, Weak};

use egui::{
    Align2, Color32, ColorImage, CursorIcon, EventFilter, FontId, Id, Key, Pos2, Rect, Response,
    Sense, Shape, Stroke, StrokeKind, TextureHandle, TextureOptions, Ui, Vec2, WidgetInfo,
    WidgetType, pos2, vec2,
};
use photograph::laid::{CORNERS, Frame};

use crate::commands::{Command, Commands};
use crate::jobs::photograph::SeenPhoto;
use crate::session::Session;
use crate::theme::{Palette, size};

/// Width over height of the place for a photograph that nobody has read yet.
const UPRIGHT: f32 = 0.75;
/// Half the side of a handle that is taken hold of, points.
const GRIP: f32 = 11.0;

/// What is left round what was found, as a share of the photograph.
const MARGIN: f64 = 0.05;

/// Where a photograph is drawn.
struct Laid {
    rect: Rect,
    /// The pixel of the photograph in the upper left corner.
    from: (f64, f64),
    /// Points for a pixel of the photograph.
    scale: f64,
}

impl Laid {
    fn at(&self, (x, y): (f64, f64)) -> Pos2 {
        let (x, y) = (
            (x - self.from.0) * self.scale,
            (y - self.from.1) * self.scale,
        );
        self.rect.min + vec2(x as f32, y as f32)
    }

    fn px(&self, at: Pos2) -> (f64, f64) {
        let at = at.clamp(self.rect.min, self.rect.max) - self.rect.min;
        (
            self.from.0 + f64::from(at.x) / self.scale,
            self.from.1 + f64::from(at.y) / self.scale,
        )
    }
}

/// The part of a photograph that is shown, px: what was found, which is the card, and a little
/// round it; all of it if nothing was.
fn shown(seen: &SeenPhoto) -> ((f64, f64), (f64, f64)) {
    let (width, height) = (seen.size_px.0 as f64, seen.size_px.1 as f64);
    if seen.lines.is_empty() {
        return ((0.0, 0.0), (width, height));
    }
    let points = seen.lines.iter().flat_map(|line| &line.points);
    let points = points.chain(&seen.frame.0);
    let start = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
    let (low, high) = points.fold(start, |(low, high), (x, y)| {
        (
            (low.0.min(*x), low.1.min(*y)),
            (high.0.max(*x), high.1.max(*y)),
        )
    });
    let round = MARGIN * width.max(height);
    let from = ((low.0 - round).max(0.0), (low.1 - round).max(0.0));
    let to = ((high.0 + round).min(width), (high.1 + round).min(height));
    (from, to)
}

/// Shows it within so much room.
pub(super) fn show(ui: &mut Ui, session: &Session, most: Vec2, send: &mut Commands) {
    let Some(seen) = session.photographs.shown() else {
        return blank(ui, most);
    };
    let (from, to) = shown(seen);
    let (width, height) = ((to.0 - from.0).max(1.0), (to.1 - from.1).max(1.0));
    let scale = (f64::from(most.x) / width).min(f64::from(most.y) / height);
    let drawn = vec2((width * scale) as f32, (height * scale) as f32);
    let (rect, response) = ui.allocate_exact_size(drawn, Sense::hover());
    let name = "The photograph with what was found on it";
    response.widget_info(|| WidgetInfo::labeled(WidgetType::Image, true, name));
    let laid = Laid { rect, from, scale };
    let texture = texture(ui, seen);
    let share = |(x, y): (f64, f64)| {
        let (width, height) = seen.size_px;
        pos2(
            (x / width.max(1) as f64) as f32,
            (y / height.max(1) as f64) as f32,
        )
    };
    let part = Rect::from_min_max(share(from), share(to));
    let painter = ui.painter().with_clip_rect(rect);
    painter.image(texture.id(), rect, part, Color32::WHITE);
    for line in &seen.lines {
        let points: Vec<Pos2> = line.points.iter().map(|p| laid.at(*p)).collect();
        let [r, g, b] = line.colour;
        let stroke = Stroke::new(1.5, Color32::from_rgb(r, g, b));
        painter.add(Shape::closed_line(points, stroke));
    }
    if let Some(frame) = session.photographs.frame() {
        frame_on(ui, session, &laid, &frame, send);
    }
}

/// The place of a photograph that is not read yet.
fn blank(ui: &mut Ui, most: Vec2) {
    let size = vec2(most.x.min(most.y * UPRIGHT), most.y);
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    let p = Palette::from_ui(ui);
    let painter = ui.painter();
    let edge = Stroke::new(1.0, p.line);
    painter.rect(rect, 6.0, p.well, edge, StrokeKind::Inside);
    let text = "The photograph is shown here\nonce it is read.\n\nThe print lies on the card that\n\
                `tintfall card` writes. Drop the\nphotograph on the window,\nor choose it.";
    let font = FontId::proportional(size::BODY);
    let galley = painter.layout(text.to_owned(), font, p.quiet, rect.width() - 24.0);
    painter.galley(rect.center() - galley.size() / 2.0, galley, p.quiet);
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

/// The picture on the graphics card; a new one when a photograph is read again.
fn texture(ui: &Ui, seen: &Arc<SeenPhoto>) -> TextureHandle {
    let id = Id::new("photograph");
    // The weak hand on it keeps its address from being given to another.
    let which = Arc::downgrade(seen);
    let known: Option<(Weak<SeenPhoto>, TextureHandle)> = ui.data(|d| d.get_temp(id));
    if let Some((_, texture)) = known.filter(|(of, _)| of.ptr_eq(&which)) {
        return texture;
    }
    let picture = &seen.picture;
    let image = ColorImage::from_rgba_unmultiplied(picture.size_px, &picture.rgba);
    let texture = ui
        .ctx()
        .load_texture("photograph", image, TextureOptions::LINEAR);
    ui.data_mut(|d| d.insert_temp(id, (which, texture.clone())));
    texture
}
