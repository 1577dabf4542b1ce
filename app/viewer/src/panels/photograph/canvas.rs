//! A photograph as it is drawn on a page, with what was found on it.

use std::sync::{Arc, Weak};

use egui::{
    Color32, ColorImage, FontId, Id, Pos2, Rect, Sense, Shape, Stroke, StrokeKind, TextureHandle,
    TextureOptions, Ui, Vec2, WidgetInfo, WidgetType, pos2, vec2,
};
use photograph::overlay::Line;

use crate::theme::{Palette, size};

/// Width over height of the place for a photograph that nobody has read yet.
const UPRIGHT: f32 = 0.75;

/// What is left round what was found, as a share of the photograph.
const MARGIN: f64 = 0.05;

/// Where a photograph is drawn.
pub(super) struct Laid {
    pub(super) rect: Rect,
    /// The pixel of the photograph in the upper left corner.
    from: (f64, f64),
    /// Points for a pixel of the photograph.
    scale: f64,
    /// The part of the photograph that is shown, as shares of it.
    part: Rect,
}

impl Laid {
    /// Takes a place for a photograph so many pixels across and down, within so much room: for what
    /// was found on it, which is the card, other points, and a little round them.
    pub(super) fn round<'a>(
        ui: &mut Ui,
        lines: &'a [Line],
        points: impl IntoIterator<Item = &'a (f64, f64)>,
        size_px: (usize, usize),
        most: Vec2,
    ) -> Self {
        let (from, to) = shown(lines, points, size_px);
        let (drawn, scale) = fitted(from, to, most);
        let (rect, response) = ui.allocate_exact_size(drawn, Sense::hover());
        let name = "The photograph with what was found on it";
        response.widget_info(|| WidgetInfo::labeled(WidgetType::Image, true, name));
        let share = |(x, y): (f64, f64)| {
            let (width, height) = size_px;
            pos2(
                (x / width.max(1) as f64) as f32,
                (y / height.max(1) as f64) as f32,
            )
        };
        Self {
            rect,
            from,
            scale,
            part: Rect::from_min_max(share(from), share(to)),
        }
    }

    pub(super) fn at(&self, (x, y): (f64, f64)) -> Pos2 {
        let (x, y) = (
            (x - self.from.0) * self.scale,
            (y - self.from.1) * self.scale,
        );
        self.rect.min + vec2(x as f32, y as f32)
    }

    pub(super) fn px(&self, at: Pos2) -> (f64, f64) {
        let at = at.clamp(self.rect.min, self.rect.max) - self.rect.min;
        (
            self.from.0 + f64::from(at.x) / self.scale,
            self.from.1 + f64::from(at.y) / self.scale,
        )
    }

    /// Draws the photograph with lines on it.
    pub(super) fn draw(&self, ui: &Ui, texture: Option<&TextureHandle>, lines: &[Line]) {
        let painter = ui.painter().with_clip_rect(self.rect);
        if let Some(texture) = texture {
            painter.image(texture.id(), self.rect, self.part, Color32::WHITE);
        }
        for line in lines {
            let points: Vec<Pos2> = line.points.iter().map(|p| self.at(*p)).collect();
            let [r, g, b] = line.colour;
            let stroke = Stroke::new(1.5, Color32::from_rgb(r, g, b));
            painter.add(Shape::closed_line(points, stroke));
        }
    }
}

/// How wide a photograph is drawn within so much room, points, with what was found on it.
pub(super) fn width_of(lines: &[Line], size_px: (usize, usize), most: Vec2) -> f32 {
    let (from, to) = shown(lines, [], size_px);
    fitted(from, to, most).0.x
}

/// The size of a part of a photograph within so much room, points, and points for one of its pixels.
fn fitted(from: (f64, f64), to: (f64, f64), most: Vec2) -> (Vec2, f64) {
    let (width, height) = ((to.0 - from.0).max(1.0), (to.1 - from.1).max(1.0));
    let scale = (f64::from(most.x) / width).min(f64::from(most.y) / height);
    (vec2((width * scale) as f32, (height * scale) as f32), scale)
}

/// The part of a photograph that is shown, px; all of it if nothing was found.
fn shown<'a>(
    lines: &'a [Line],
    points: impl IntoIterator<Item = &'a (f64, f64)>,
    size_px: (usize, usize),
) -> ((f64, f64), (f64, f64)) {
    let (width, height) = (size_px.0 as f64, size_px.1 as f64);
    if lines.is_empty() {
        return ((0.0, 0.0), (width, height));
    }
    let found = lines.iter().flat_map(|line| &line.points).chain(points);
    let start = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
    let (low, high) = found.fold(start, |(low, high), (x, y)| {
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

/// The place of a photograph that is not read yet.
pub(super) fn blank(ui: &mut Ui, most: Vec2, text: &str) {
    let size = vec2(most.x.min(most.y * UPRIGHT), most.y);
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    let p = Palette::from_ui(ui);
    let painter = ui.painter();
    let edge = Stroke::new(1.0, p.line);
    painter.rect(rect, 6.0, p.well, edge, StrokeKind::Inside);
    let font = FontId::proportional(size::BODY);
    let galley = painter.layout(text.to_owned(), font, p.quiet, rect.width() - 24.0);
    painter.galley(rect.center() - galley.size() / 2.0, galley, p.quiet);
}

/// A picture for [`textures`].
pub(super) fn picture_of(size_px: [usize; 2], rgba: &[u8]) -> ColorImage {
    ColorImage::from_rgba_unmultiplied(size_px, rgba)
}

/// Pictures on the graphics card, of one of what was read; new ones when something is read again.
pub(super) fn textures<T: Send + Sync + 'static>(
    ui: &Ui,
    name: &'static str,
    (seen, number): (&Arc<T>, usize),
    make: impl FnOnce() -> Vec<ColorImage>,
) -> Vec<TextureHandle> {
    type Known<T> = (Weak<T>, usize, Vec<TextureHandle>);
    let id = Id::new(name);
    // The weak hand on it keeps its address from being given to another.
    let which = Arc::downgrade(seen);
    let known: Option<Known<T>> = ui.data(|d| d.get_temp(id));
    if let Some((.., textures)) = known.filter(|(of, n, _)| of.ptr_eq(&which) && *n == number) {
        return textures;
    }
    let load = |image| ui.ctx().load_texture(name, image, TextureOptions::LINEAR);
    let textures: Vec<TextureHandle> = make().into_iter().map(load).collect();
    ui.data_mut(|d| d.insert_temp(id, (which, number, textures.clone())));
    textures
}
