//! The photograph of the finished part with its outline, and the part from the camera's place: as
//! requested, as printed, as seen, and where it differs.

use std::sync::Arc;

use calibrate::finished::reading::Shown;
use egui::{
    Align2, Color32, FontId, Pos2, Rect, RichText, Sense, TextureHandle, Ui, Vec2, WidgetInfo,
    WidgetType, pos2, vec2,
};
use project::record::PictureOf;

use super::super::widgets::colour32;
use super::canvas::{Laid, blank, picture_of, textures, width_of};
use crate::commands::{Command, Commands};
use crate::jobs::colours::{difference_colour, encoded};
use crate::jobs::finished_part::SeenPart;
use crate::model::finished_form::{Shows, name_of};
use crate::session::Session;
use crate::theme::{Palette, size};

/// Room for a view's name above it, and between two views, points.
const NAME: f32 = 20.0;
const GAP: f32 = 10.0;
/// Room for the choice of what is shown, and the least width of all, points.
const CHOICES: f32 = 32.0;
const NARROWEST: f32 = 300.0;
/// Room for the scale of differences below all, points.
const SCALE: f32 = 34.0;

/// Shows them within so much room.
pub(super) fn show(ui: &mut Ui, session: &Session, most: Vec2, send: &mut Commands) {
    let Some(seen) = session.finished.shown() else {
        return blank(
            ui,
            most,
            "The photograph is shown here once\nit is read, with the part from the\ncamera's place \
             beside it.\n\nStand the part as it was printed on\nthe upper end of the card that\n\
             `tintfall card` writes, or behind it.\nPhotograph it from the card's lower\nend, half \
             from above. Drop the\nphotographs on the window, or choose\nthem.",
        );
    };
    let photos = seen.reading.shown.len();
    let mut shows = session.finished.form.shows;
    shows.photo = shows.photo.min(photos.saturating_sub(1));
    let Some(shown) = seen.reading.shown.get(shows.photo) else {
        return;
    };
    // As wide as the photograph, also for the views: so nothing moves when the other is shown.
    let below = vec2(most.x, most.y - CHOICES);
    let wide = width_of(&shown.part.lines, shown.size_px, below).max(NARROWEST);
    ui.vertical(|ui| {
        ui.set_width(wide);
        let to = choices(ui, seen, shows);
        if to != shows {
            let mut form = session.finished.form.clone();
            form.shows = to;
            send.send(Command::SetFinishedForm(Box::new(form)));
        }
        let room = vec2(wide, ui.available_height().min(below.y));
        match shows.views {
            true => views(ui, seen, shows.photo, room),
            false => photograph(ui, seen, shown, shows.photo, room),
        }
    });
}

/// Which photograph, and whether itself or the views.
fn choices(ui: &mut Ui, seen: &SeenPart, shows: Shows) -> Shows {
    let mut to = shows;
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 4.0;
        for (views, name) in [(false, "Photograph"), (true, "Views")] {
            let on = shows.views == views;
            if ui.selectable_label(on, RichText::new(name)).clicked() {
                to.views = views;
            }
        }
        let names = seen.names();
        if names.len() > 1 {
            ui.separator();
            for (i, name) in names.into_iter().enumerate() {
                let name = RichText::new(format!("{}  {name}", i + 1));
                if ui.selectable_label(shows.photo == i, name).clicked() {
                    to.photo = i;
                }
            }
        }
    });
    to
}

fn photograph(ui: &mut Ui, seen: &Arc<SeenPart>, shown: &Shown, photo: usize, room: Vec2) {
    let made = || {
        let overlay = seen.overlay(photo).into_iter();
        overlay.map(|(size, rgba)| picture_of(size, rgba)).collect()
    };
    let textures = textures(ui, "photograph of the part", (seen, photo), made);
    let lines = &shown.part.lines;
    let laid = Laid::round(ui, lines, [], shown.size_px, room);
    laid.draw(ui, textures.first(), lines);
}

/// The four views, in the columns in which they are largest.
fn views(ui: &mut Ui, seen: &Arc<SeenPart>, photo: usize, room: Vec2) {
    let all = PictureOf::ALL.map(|of| (of, seen.view(photo, of)));
    let made = || {
        let pictures = all.iter().filter_map(|(_, view)| *view);
        pictures
            .map(|(size, rgba)| picture_of(size, rgba))
            .collect()
    };
    let textures = textures(ui, "views of the part", (seen, photo), made);
    let Some((_, Some((size_px, _)))) = all.first() else {
        return;
    };
    let (drawn, columns) = arranged(*size_px, room);
    let (rect, _) = ui.allocate_exact_size(room, Sense::hover());
    let p = Palette::from_ui(ui);
    for (i, (of, _)) in all.iter().enumerate() {
        let (column, row) = ((i % columns) as f32, (i / columns) as f32);
        let cell = rect.width() / columns as f32;
        let at = rect.min
            + vec2(
                column * cell + (cell - drawn.x) / 2.0,
                row * (drawn.y + NAME + GAP) + NAME,
            );
        let place = Rect::from_min_size(at, drawn);
        let font = FontId::proportional(size::BODY);
        let name_at = place.left_top() - vec2(0.0, 3.0);
        let painter = ui.painter();
        painter.text(name_at, Align2::LEFT_BOTTOM, name_of(*of), font, p.text);
        let view = View {
            seen,
            photo,
            of: *of,
            size_px: *size_px,
        };
        view.show(ui, place, textures.get(i));
    }
    let rows = 4_usize.div_ceil(columns) as f32;
    let below = rect.min + vec2(0.0, rows * (drawn.y + NAME + GAP) + 2.0);
    scale_of_differences(ui, below, room.x.min(260.0), p);
}

/// The size of a view, and in how many columns they stand: one row of four, or two.
fn arranged([width, height]: [usize; 2], room: Vec2) -> (Vec2, usize) {
    let size = vec2(width.max(1) as f32, height.max(1) as f32);
    let scale = |columns: f32, rows: f32| {
        let across = (room.x - (columns - 1.0) * GAP) / columns / size.x;
        let down = ((room.y - SCALE) / rows - NAME - GAP) / size.y;
        across.min(down).max(0.0)
    };
    let (one, two) = (scale(4.0, 1.0), scale(2.0, 2.0));
    match one >= two {
        true => (size * one, 4),
        false => (size * two, 2),
    }
}

/// One of the views.
struct View<'a> {
    seen: &'a SeenPart,
    photo: usize,
    of: PictureOf,
    size_px: [usize; 2],
}

impl View<'_> {
    fn show(&self, ui: &mut Ui, place: Rect, texture: Option<&TextureHandle>) {
        let response = ui.allocate_rect(place, Sense::hover());
        let name = format!("Part: {}", name_of(self.of));
        response.widget_info(|| WidgetInfo::labeled(WidgetType::Image, true, &name));
        if let Some(texture) = texture {
            let all = Rect::from_min_max(Pos2::ZERO, pos2(1.0, 1.0));
            ui.painter().image(texture.id(), place, all, Color32::WHITE);
        }
        let Some(at) = response.hover_pos() else {
            return;
        };
        let off = self.seen.off_de00(self.photo, self.pixel(place, at));
        if let Some(off) = off {
            let text = format!("Off by ΔE00 {off:.1} here");
            response.on_hover_text_at_pointer(text);
        }
    }

    /// The pixel of the view at a place.
    fn pixel(&self, place: Rect, at: Pos2) -> (usize, usize) {
        let share = (at - place.min) / place.size();
        let [width, height] = self.size_px;
        (
            (share.x.max(0.0) * width as f32) as usize,
            (share.y.max(0.0) * height as f32) as usize,
        )
    }
}

fn scale_of_differences(ui: &Ui, at: Pos2, width: f32, p: Palette) {
    const STEPS: usize = 40;
    let step = vec2(width / STEPS as f32, 8.0);
    let painter = ui.painter();
    for i in 0..STEPS {
        let colour = encoded(difference_colour(10.0 * i as f64 / (STEPS - 1) as f64));
        let rect = Rect::from_min_size(at + vec2(step.x * i as f32, 0.0), step);
        painter.rect_filled(rect, 0.0, colour32(colour));
    }
    for (x, align, text) in [
        (0.0, Align2::LEFT_TOP, "ΔE00 0"),
        (width, Align2::RIGHT_TOP, "10 and more"),
    ] {
        let font = FontId::proportional(size::SMALL);
        painter.text(at + vec2(x, 11.0), align, text, font, p.quiet);
    }
}
