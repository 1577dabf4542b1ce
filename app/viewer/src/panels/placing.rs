//! Pictures and letters of the selected region: their numbers in the drawer, their frame on the
//! stage.

use egui::{Button, Grid, Id, Painter, Rect, Shape, Stroke, TextEdit, Ui, WidgetType, vec2};
use geometry::imprint::{Covers, Laid, Letters, MOST_BOLDER, Picture};
use geometry::mask::MOST_COLOURS;
use geometry::{DVec3, Mask};
use plan::Paint;

use super::widgets::{self, Number, Turned, heading, mm, note};
use crate::commands::{Command, Commands};
use crate::model::placing::{self, SIZE_RANGE_MM};
use crate::model::tool::Tool;
use crate::session::Session;
use crate::theme::Palette;

/// How far from the plate's middle a picture may be set, mm.
const FARTHEST_MM: f64 = 2000.0;

/// Shows the numbers of the selected region's picture or letters, if it is one.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(region) = session.chosen_region() else {
        return;
    };
    if placing::laid(&region.mask).is_none() {
        return;
    }
    ui.add_space(4.0);
    ui.add_enabled_ui(!region.locked, |ui| {
        let mut mask = region.mask.clone();
        let mut turned = match &mut mask {
            Mask::Picture(picture) => {
                let follows = matches!(region.paint, Paint::Fade { .. });
                show_picture(ui, picture, follows, session, send)
            }
            Mask::Text(letters) => show_letters(ui, letters, send),
            _ => Turned::default(),
        };
        turned = lying(ui, &mut mask).or(turned);
        if mask != region.mask {
            send.send(Command::SetImprint(Box::new(mask)));
        }
        if turned.done {
            send.send(Command::EditDone);
        }
        ways(ui, session, &region.mask, send);
    });
    ui.add_space(4.0);
}

fn show_picture(
    ui: &mut Ui,
    picture: &mut Picture,
    fades: bool,
    session: &Session,
    send: &mut Commands,
) -> Turned {
    heading(ui, "Picture");
    note(ui, picture.file.as_str());
    let mut turned = Turned::default();
    ui.horizontal_wrapped(|ui| {
        for (covers, name, hint) in [
            (
                Covers::Dark,
                "Its dark",
                "The region is where the picture is dark.",
            ),
            (
                Covers::Light,
                "Its light",
                "The region is where the picture is light.",
            ),
            (
                Covers::Frame,
                "All of it",
                "The region is the picture's whole rectangle.",
            ),
        ] {
            let on = picture.covers == covers;
            if ui.selectable_label(on, name).on_hover_text(hint).clicked() && !on {
                picture.covers = covers;
                turned.done = true;
            }
        }
        let greys = ui.add_enabled(!fades, Button::new("Fade along its greys"));
        let hint = "All of the picture, with a fade from the darkest spool at black to the \
                    lightest at white.";
        if greys
            .on_hover_text(hint)
            .on_disabled_hover_text(hint)
            .clicked()
        {
            send.send(Command::FadeAlongGreys);
        }
    });
    if let Covers::Colour(one) = &picture.covers {
        let of = one.among.len();
        let text =
            format!("Now it is one of its {of} colours. These move, turn and grow together.");
        note(ui, text);
    }
    colours(ui, session, send);
    numbers(ui, "picture", |ui| {
        if matches!(picture.covers, Covers::Dark | Covers::Light) {
            let hint = "The grey between dark and light: 0 is black, 100 is white.";
            let mut share = picture.threshold * 100.0;
            let now = number(ui, "Dark below", hint, &mut share, (1.0, 99.0), 0, " %");
            if now.to.is_some() {
                picture.threshold = share / 100.0;
            }
            turned = now.or(turned);
        }
        let hint = "The picture's width on the part; its height follows.";
        turned = number(
            ui,
            "Width",
            hint,
            &mut picture.width_mm,
            SIZE_RANGE_MM,
            1,
            " mm",
        )
        .or(turned);
        if let Some((_, height_mm)) = session.picture_size_mm() {
            ui.label("Height");
            ui.label(format!("{} mm", mm((height_mm * 10.0).round() / 10.0)));
            ui.end_row();
        }
        turned = turn(ui, &mut picture.turn_deg).or(turned);
    });
    turned.done |= ui
        .checkbox(&mut picture.mirror, "Swap left and right")
        .changed();
    turned
}

/// What makes regions of the picture's colours, beside how many blends they get. That number is no
/// part of the plan.
fn colours(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let id = Id::new("blends of a picture's colours");
    let count: usize = ui.data(|d| d.get_temp(id)).unwrap_or(0);
    ui.horizontal_wrapped(|ui| {
        let command = Command::FlatColours((count > 0).then_some(count));
        let make = ui.add_enabled(session.can(&command), Button::new("Its colours as blends"));
        let hint = "A region for each of a few blends, in place of this one, each where the \
                    picture's colour is nearest to it.";
        if make
            .on_hover_text(hint)
            .on_disabled_hover_text(hint)
            .clicked()
        {
            send.send(command);
        }
        let field = Number {
            range: (0.0, MOST_COLOURS as f64),
            speed: 0.1,
            decimals: 0,
            unit: if count == 1 { " blend" } else { " blends" },
            width: None,
        };
        let hint = "How many. 0 takes as many as are worth it: a further one has to bring half a \
                    ΔE00 of the mean.";
        if let Some(to) = field.show(ui, "Number of blends", hint, count as f64).to {
            ui.data_mut(|d| d.insert_temp(id, to as usize));
        }
    });
}

fn show_letters(ui: &mut Ui, letters: &mut Letters, send: &mut Commands) -> Turned {
    heading(ui, "Letters");
    text_field(ui, letters, send);
    let mut turned = Turned::default();
    numbers(ui, "letters", |ui| {
        let hint = "The height of a capital letter.";
        turned = number(
            ui,
            "Height",
            hint,
            &mut letters.height_mm,
            SIZE_RANGE_MM,
            1,
            " mm",
        );
        let most_mm = MOST_BOLDER * letters.height_mm;
        letters.bolder_mm = letters.bolder_mm.min(most_mm);
        let hint = "By how much each stroke is thicker, on both sides. Strokes narrower than the \
                    nozzle's line are lost.";
        turned = number(
            ui,
            "Bolder by",
            hint,
            &mut letters.bolder_mm,
            (0.0, most_mm),
            2,
            " mm",
        )
        .or(turned);
        turned = turn(ui, &mut letters.turn_deg).or(turned);
    });
    turned.done |= ui
        .checkbox(&mut letters.mirror, "Swap left and right")
        .on_hover_text("For letters that are read in a mirror, or from within clear plastic.")
        .changed();
    turned
}

/// The text: what is typed is kept beside the plan until the field is left.
fn text_field(ui: &mut Ui, letters: &Letters, send: &mut Commands) {
    let id = Id::new("letters that are typed");
    let typed: Option<String> = ui.data(|d| d.get_temp(id)).flatten();
    let mut text = typed.unwrap_or_else(|| letters.text.clone());
    let field = TextEdit::singleline(&mut text).desired_width(f32::INFINITY);
    let response = ui.add(field);
    widgets::named(&response, WidgetType::TextEdit, "Text");
    let keep = response.has_focus().then(|| text.clone());
    ui.data_mut(|d| d.insert_temp(id, keep));
    let wanted = !text.trim().is_empty() && text != letters.text;
    if response.lost_focus() && wanted {
        send.send(Command::SetLetters(text));
    }
}

/// Where it lies: its middle, and how deep it reaches.
fn lying(ui: &mut Ui, mask: &mut Mask) -> Turned {
    let Some(before) = placing::laid(mask).cloned() else {
        return Turned::default();
    };
    let mut turned = Turned::default();
    let (mut at_mm, mut deep_mm) = (before.at_mm(), before.depth_mm());
    numbers(ui, "lying", |ui| {
        let within = (-FARTHEST_MM, FARTHEST_MM);
        for (name, value) in [
            ("Middle x", &mut at_mm.x),
            ("Middle y", &mut at_mm.y),
            ("Middle z", &mut at_mm.z),
        ] {
            let hint = "The picture's middle on the part.";
            turned = number(ui, name, hint, value, within, 2, " mm").or(turned);
        }
        let hint = "How far before and behind its middle it takes. Less than the part is thick, so \
                    that it does not come out on the far side.";
        turned = number(
            ui,
            "Depth",
            hint,
            &mut deep_mm,
            (0.05, FARTHEST_MM),
            2,
            " mm",
        )
        .or(turned);
    });
    if at_mm != before.at_mm() || deep_mm != before.depth_mm() {
        *mask = placing::lying(mask.clone(), before.at(at_mm).deep(deep_mm));
    }
    turned
}

/// How it lies, and what lays it otherwise.
fn ways(ui: &mut Ui, session: &Session, mask: &Mask, send: &mut Commands) {
    match placing::laid(mask) {
        Some(Laid::Projected { along, .. }) => {
            note(
                ui,
                format!("Falls straight on the part{}.", from_where(*along)),
            );
        }
        Some(Laid::Wrapped { .. }) => {
            note(ui, "Goes round an axis, as a label round a bottle.");
        }
        Some(Laid::OnSkin { .. }) => {
            note(ui, "Lies on the skin, as a sticker.");
        }
        None => return,
    }
    ui.horizontal_wrapped(|ui| {
        for (name, command, hint) in [
            (
                "Straight, as I look now",
                Command::LayStraight,
                "Let it fall on the part in the direction of the view.",
            ),
            (
                "Round the part",
                Command::LayRound,
                "Wrap it round the upright axis through the part's middle. Widths hold where its \
                 middle lies.",
            ),
            (
                "On the skin",
                Command::LayOnSkin,
                "Lay it on the skin as a sticker, over edges too. Widths hold along the skin.",
            ),
        ] {
            if ui.button(name).on_hover_text(hint).clicked() {
                send.send(command);
            }
        }
        if session.tools.tool != Tool::Place
            && ui
                .button("Move it on the part")
                .on_hover_text(super::shortcuts::hint(&Command::Take(Tool::Place)))
                .clicked()
        {
            send.send(Command::Take(Tool::Place));
        }
    });
}

fn from_where(along: DVec3) -> &'static str {
    let sides = [
        (DVec3::Y, ", from the front"),
        (DVec3::NEG_Y, ", from the back"),
        (DVec3::X, ", from the left"),
        (DVec3::NEG_X, ", from the right"),
        (DVec3::NEG_Z, ", from above"),
        (DVec3::Z, ", from below"),
    ];
    let side = sides
        .into_iter()
        .find(|(to, _)| along.dot(*to) > 0.999 * along.length());
    side.map_or("", |(_, words)| words)
}

fn numbers(ui: &mut Ui, id: &str, rows: impl FnOnce(&mut Ui)) {
    Grid::new(id)
        .num_columns(2)
        .spacing([16.0, 5.0])
        .show(ui, rows);
}

fn turn(ui: &mut Ui, turn_deg: &mut f64) -> Turned {
    let hint = "Anticlockwise, as one looks at it.";
    number(ui, "Turned by", hint, turn_deg, (-180.0, 180.0), 1, "°")
}

/// A row with a number, which is set only where a person has changed it.
fn number(
    ui: &mut Ui,
    name: &str,
    hint: &str,
    value: &mut f64,
    range: (f64, f64),
    decimals: usize,
    unit: &'static str,
) -> Turned {
    ui.label(name).on_hover_text(hint);
    let field = Number {
        range,
        speed: 0.1,
        decimals,
        unit,
        width: None,
    };
    let now = field.show(ui, name, hint, *value);
    *value = now.to.unwrap_or(*value);
    ui.end_row();
    now
}

/// Draws the frame of the selected region's picture while its tool is in use.
pub(super) fn marks(painter: &Painter, session: &Session, p: Palette) {
    if session.tools.tool != Tool::Place {
        return;
    }
    let Some(frame) = session.frame_of_picture() else {
        return;
    };
    let (under, over) = (Stroke::new(3.5, p.panel), Stroke::new(1.5, p.accent));
    for stroke in [under, over] {
        painter.add(Shape::closed_line(frame.outline.clone(), stroke));
        painter.line_segment([frame.knob.1, frame.knob.0], stroke);
    }
    for corner in frame.corners {
        let square = Rect::from_center_size(corner, vec2(9.0, 9.0));
        painter.rect(square, 1.5, p.panel, over, egui::StrokeKind::Middle);
    }
    painter.circle(frame.knob.0, 5.5, p.panel, over);
}
