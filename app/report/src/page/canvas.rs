//! A page to draw on, in page units, that remembers where things lie.

use blend::Srgb;
use tiny_skia::{
    Color, FillRule, Paint, Path, PathBuilder, Pixmap, PixmapPaint, PixmapRef, Stroke, Transform,
};

use render::Image;

use super::ink::Ink;
use super::style;
use super::text::{self, Style};

/// A box on the page, in page units from the upper left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub x: f32,
    /// Upper edge.
    pub y: f32,
    /// Width.
    pub width: f32,
    /// Height.
    pub height: f32,
}

impl Rect {
    /// Right edge.
    pub fn right(&self) -> f32 {
        self.x + self.width
    }

    /// Lower edge.
    pub fn bottom(&self) -> f32 {
        self.y + self.height
    }

    /// What is left of it and a column at its right, with a gap between.
    pub(crate) fn split_right(self, width: f32, gap: f32) -> (Self, Self) {
        let left = Self {
            width: self.width - width - gap,
            ..self
        };
        let right = Self {
            x: self.right() - width,
            width,
            ..self
        };
        (left, right)
    }

    /// Whether two boxes share more than an edge.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.x < other.right()
            && other.x < self.right()
            && self.y < other.bottom()
            && other.y < self.bottom()
    }
}

/// Something placed on the page.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The text, or the name of the picture.
    pub what: String,
    /// Where.
    pub at: Rect,
}

/// A finished page.
#[derive(Clone, Debug, PartialEq)]
pub struct Finished {
    /// The picture.
    pub image: Image,
    /// Where each text and picture lies, for checks.
    pub placed: Vec<Placed>,
}

/// On which side of its place a text stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Align {
    /// It begins there.
    Left,
    /// It ends there.
    Right,
    /// Its middle is there.
    Middle,
}

/// A page being drawn.
pub(crate) struct Page {
    pixels: Pixmap,
    scale: f32,
    placed: Vec<Placed>,
}

impl Page {
    /// An empty page; `None` when the picture would be too large or empty.
    pub(crate) fn new(width: f32, height: f32, scale: f32) -> Option<Self> {
        let scale = scale.clamp(0.1, 8.0);
        let size = |units: f32| (units * scale).round().max(1.0) as u32;
        let mut pixels = Pixmap::new(size(width), size(height))?;
        let [r, g, b, a] = style::PAPER.rgba;
        pixels.fill(Color::from_rgba8(r, g, b, a));
        Some(Self {
            pixels,
            scale,
            placed: Vec::new(),
        })
    }

    /// Pixels to a unit.
    pub(crate) fn scale(&self) -> f32 {
        self.scale
    }

    fn transform(&self) -> Transform {
        Transform::from_scale(self.scale, self.scale)
    }

    /// Sets a line of text with its baseline at a place; gives its width.
    pub(crate) fn text(&mut self, text: &str, at: (f32, f32), style: &Style, align: Align) -> f32 {
        let width = text::width(text, style);
        let x = match align {
            Align::Left => at.0,
            Align::Right => at.0 - width,
            Align::Middle => at.0 - width / 2.0,
        };
        if let Some(path) = text::outline(text, style, (x, at.1)) {
            self.fill(&path, style.ink);
            if style.round() > 0.0 {
                self.stroke(&path, style.ink, style.round());
            }
            self.placed.push(Placed {
                what: text.to_owned(),
                at: Rect {
                    x,
                    y: at.1 - style.size * 0.72,
                    width,
                    height: style.size * 0.92,
                },
            });
        }
        width
    }

    /// Sets a line shortened to a room; gives its width.
    pub(crate) fn fitted(
        &mut self,
        text: &str,
        at: (f32, f32),
        style: &Style,
        align: Align,
        room: f32,
    ) -> f32 {
        self.text(&text::fitted(text, style, room), at, style, align)
    }

    /// Fills a box.
    pub(crate) fn block(&mut self, rect: Rect, ink: Ink) {
        if let Some(rect) =
            tiny_skia::Rect::from_xywh(rect.x, rect.y, rect.width.max(0.0), rect.height.max(0.0))
        {
            let transform = self.transform();
            self.pixels.fill_rect(rect, &ink.paint(), transform, None);
        }
    }

    /// Fills whole pixels between two heights, for rows that must join without a seam.
    pub(crate) fn row(&mut self, x: (f32, f32), y_px: u32, ink: Ink) {
        let (left, right) = ((x.0 * self.scale).round(), (x.1 * self.scale).round());
        if let Some(rect) = tiny_skia::Rect::from_ltrb(left, y_px as f32, right, y_px as f32 + 1.0)
        {
            let mut paint = ink.paint();
            paint.anti_alias = false;
            self.pixels
                .fill_rect(rect, &paint, Transform::identity(), None);
        }
    }

    /// A straight line.
    pub(crate) fn line(&mut self, from: (f32, f32), to: (f32, f32), ink: Ink, width: f32) {
        self.lines(&[from, to], ink, width);
    }

    /// A line through several places.
    pub(crate) fn lines(&mut self, places: &[(f32, f32)], ink: Ink, width: f32) {
        let mut path = PathBuilder::new();
        for (i, &(x, y)) in places.iter().enumerate() {
            match i {
                0 => path.move_to(x, y),
                _ => path.line_to(x, y),
            }
        }
        if let Some(path) = path.finish() {
            self.stroke(&path, ink, width);
        }
    }

    /// A filled shape with straight sides.
    pub(crate) fn shape(&mut self, corners: &[(f32, f32)], ink: Ink) {
        let mut path = PathBuilder::new();
        for (i, &(x, y)) in corners.iter().enumerate() {
            match i {
                0 => path.move_to(x, y),
                _ => path.line_to(x, y),
            }
        }
        path.close();
        if let Some(path) = path.finish() {
            self.fill(&path, ink);
        }
    }

    /// A swatch with round corners: one shade, or several from left to right.
    pub(crate) fn swatch(&mut self, rect: Rect, shades: &[Srgb]) {
        let radius = (rect.height * 0.24).min(rect.width * 0.24);
        let Some(path) = rounded(rect, radius) else {
            return;
        };
        match shades {
            [] => {}
            [one] => self.fill(&path, Ink::of(*one)),
            several => self.ramp(&path, rect, several),
        }
        self.stroke(&path, style::EDGE, 1.0);
    }

    /// Fills a path with shades from left to right.
    fn ramp(&mut self, path: &Path, rect: Rect, shades: &[Srgb]) {
        let last = (shades.len() - 1).max(1) as f32;
        let stops = shades.iter().enumerate().map(|(i, shade)| {
            let [r, g, b] = shade.0;
            tiny_skia::GradientStop::new(i as f32 / last, Color::from_rgba8(r, g, b, 255))
        });
        let shader = tiny_skia::LinearGradient::new(
            tiny_skia::Point::from_xy(rect.x, rect.y),
            tiny_skia::Point::from_xy(rect.right(), rect.y),
            stops.collect(),
            tiny_skia::SpreadMode::Pad,
            Transform::identity(),
        );
        if let Some(shader) = shader {
            let paint = Paint {
                shader,
                ..Paint::default()
            };
            let transform = self.transform();
            self.pixels
                .fill_path(path, &paint, FillRule::Winding, transform, None);
        }
    }

    /// Lays a picture on the page, its upper left at a pixel.
    pub(crate) fn picture(&mut self, image: &Image, (x_px, y_px): (i32, i32)) {
        let mut data = image.rgba().to_vec();
        for pixel in data.chunks_exact_mut(4) {
            let alpha = u16::from(pixel[3]);
            for channel in &mut pixel[..3] {
                *channel = ((u16::from(*channel) * alpha + 127) / 255) as u8;
            }
        }
        if let Some(picture) = PixmapRef::from_bytes(&data, image.width_px(), image.height_px()) {
            self.pixels.draw_pixmap(
                x_px,
                y_px,
                picture,
                &PixmapPaint::default(),
                Transform::identity(),
                None,
            );
        }
    }

    /// Notes where a picture's subject lies.
    pub(crate) fn note(&mut self, what: &str, at: Rect) {
        self.placed.push(Placed {
            what: what.to_owned(),
            at,
        });
    }

    fn fill(&mut self, path: &Path, ink: Ink) {
        let transform = self.transform();
        self.pixels
            .fill_path(path, &ink.paint(), FillRule::Winding, transform, None);
    }

    fn stroke(&mut self, path: &Path, ink: Ink, width: f32) {
        let stroke = Stroke {
            width,
            line_join: tiny_skia::LineJoin::Round,
            ..Stroke::default()
        };
        let transform = self.transform();
        self.pixels
            .stroke_path(path, &ink.paint(), &stroke, transform, None);
    }

    /// The finished picture.
    pub(crate) fn finish(self) -> Finished {
        let (width, height) = (self.pixels.width(), self.pixels.height());
        let rgba = self.pixels.take_demultiplied();
        Finished {
            image: Image::from_rgba(width, height, rgba)
                .unwrap_or_else(|| Image::clear(width, height)),
            placed: self.placed,
        }
    }
}

/// A box with round corners.
fn rounded(rect: Rect, radius: f32) -> Option<Path> {
    /// How far a cubic's handles reach to come nearest to a quarter circle.
    const HANDLE: f32 = 0.552_285;
    let (l, t, r, b) = (rect.x, rect.y, rect.right(), rect.bottom());
    let inset = radius * (1.0 - HANDLE);
    let mut path = PathBuilder::new();
    path.move_to(l + radius, t);
    path.line_to(r - radius, t);
    path.cubic_to(r - inset, t, r, t + inset, r, t + radius);
    path.line_to(r, b - radius);
    path.cubic_to(r, b - inset, r - inset, b, r - radius, b);
    path.line_to(l + radius, b);
    path.cubic_to(l + inset, b, l, b - inset, l, b - radius);
    path.line_to(l, t + radius);
    path.cubic_to(l, t + inset, l + inset, t, l + radius, t);
    path.close();
    path.finish()
}
