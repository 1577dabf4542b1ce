//! The fade editor: what the fade runs along, its spacing, its stops, and the curve of shares.

use blend::{Spacing, Stop};
use egui::epaint::PathShape;
use egui::{
    Align2, ComboBox, CursorIcon, FontId, Mesh, Rect, RichText, Sense, Shape, Stroke, Ui,
    WidgetInfo, WidgetType, pos2, vec2,
};
use geometry::{DVec3, Field};
use plan::{Edit, Paint};

use super::icon::Icon;
use super::widgets::{Number, colour32, note, small_icon, swatch};
use crate::commands::{Command, Commands};
use crate::session::Session;
use crate::theme::{Palette, size};

/// Shows the head of the paint editor, and the fade's controls if there is a fade.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let (Some(index), Some(region)) = (session.chosen.region, session.chosen_region()) else {
        return;
    };
    let (locked, paint) = (region.locked, &region.paint);
    ui.horizontal(|ui| {
        let label = egui::Label::new(RichText::new(&region.name).heading().strong());
        ui.add(label.truncate());
    });
    ui.add_enabled_ui(!locked, |ui| {
        kind(ui, paint, send);
        if let Paint::Fade { along, fade } = paint {
            along_what(ui, session, index, along, send);
            spacing(ui, index, fade.spacing, send);
            plot(ui, session, index, fade, send);
            stops(ui, session, index, &fade.stops, send);
        }
    });
}

fn kind(ui: &mut Ui, paint: &Paint, send: &mut Commands) {
    let fade = matches!(paint, Paint::Fade { .. });
    ui.horizontal(|ui| {
        let one = ui.selectable_label(!fade, "One blend");
        if one
            .on_hover_text("The same blend all over the region.")
            .clicked()
            && fade
        {
            send.send(Command::MakeFixed);
        }
        let many = ui.selectable_label(fade, "Fade");
        if many.on_hover_text("From one blend to another.").clicked() && !fade {
            send.send(Command::MakeFade);
        }
    });
}

fn field_name(field: &Field) -> &'static str {
    match field {
        Field::Height => "height",
        Field::Direction(_) => "a direction",
        Field::FromPoint(_) => "distance from a point",
        Field::FromStroke(_) => "distance from a stroke",
        Field::Picture(_) => "greys of a picture",
    }
}

fn along_what(ui: &mut Ui, session: &Session, region: usize, along: &Field, send: &mut Commands) {
    let middle = session.doc.as_ref().map_or(DVec3::ZERO, |d| d.middle_mm());
    let stroke = session.last_stroke(region);
    ui.horizontal(|ui| {
        let label_of = ui.label("Along");
        let mut wanted = None;
        ComboBox::from_id_salt("fade along")
            .width(170.0)
            .selected_text(field_name(along))
            .show_ui(ui, |ui| {
                let mut choices = vec![
                    Field::Height,
                    Field::Direction(DVec3::X),
                    Field::FromPoint(middle),
                ];
                choices.extend(stroke.map(Field::FromStroke));
                for choice in choices {
                    let same = std::mem::discriminant(&choice) == std::mem::discriminant(along);
                    if ui.selectable_label(same, field_name(&choice)).clicked() && !same {
                        wanted = Some(choice);
                    }
                }
            })
            .response
            .labelled_by(label_of.id)
            .on_hover_text(
                "The measure that the fade runs along. Distance from a stroke, along \
                            the skin, needs a painted stroke in this region.",
            );
        if let Some(wanted) = wanted {
            send.send(Command::FadeAlong(region, wanted));
        }
    });
    let (mut vector, label, hint) = match along {
        Field::Direction(v) => (*v, "Direction", "The direction of the fade."),
        Field::FromPoint(v) => (
            *v,
            "From, mm",
            "The point to measure the distance from, mm.",
        ),
        _ => return,
    };
    ui.horizontal(|ui| {
        ui.label(label).on_hover_text(hint);
        let number = Number {
            range: (-1e4, 1e4),
            speed: 0.1,
            decimals: 2,
            unit: "",
            width: None,
        };
        let before = vector;
        let mut done = false;
        for (value, axis) in [
            (&mut vector.x, "x"),
            (&mut vector.y, "y"),
            (&mut vector.z, "z"),
        ] {
            let turned = number.show(ui, &format!("{label} {axis}"), hint, *value);
            *value = turned.to.unwrap_or(*value);
            done |= turned.done;
        }
        let along = match along {
            Field::Direction(_) if vector.length() > 1e-9 => Field::Direction(vector),
            Field::FromPoint(_) => Field::FromPoint(vector),
            other => other.clone(),
        };
        if vector != before {
            send.send(Command::MoveField(region, along));
        }
        if done {
            send.send(Command::EditDone);
        }
    });
}

fn spacing(ui: &mut Ui, region: usize, now: Spacing, send: &mut Commands) {
    ui.horizontal(|ui| {
        for (choice, name, hint) in [
            (
                Spacing::Linear,
                "Linear",
                "Shares change evenly with distance.",
            ),
            (
                Spacing::EqualSteps,
                "Equal steps",
                "The visible colour changes evenly with distance (ΔE00).",
            ),
            (
                Spacing::EqualArea,
                "Equal area",
                "Each shade gets the same share of the surface between two stops.",
            ),
        ] {
            let on = now == choice;
            if ui.selectable_label(on, name).on_hover_text(hint).clicked() && !on {
                send.edit(Edit::SetSpacing {
                    region,
                    spacing: choice,
                });
            }
        }
    });
}

/// How many places the curve of shares is drawn through.
const CURVE: usize = 120;

/// The shares along the fade, and the colours they give, with the stops to be dragged.
fn plot(ui: &mut Ui, session: &Session, region: usize, fade: &blend::Fade, send: &mut Commands) {
    let (Some(first), Some(last)) = (fade.stops.first(), fade.stops.last()) else {
        return;
    };
    let p = Palette::from_ui(ui);
    let width = ui.available_width();
    let (rect, _) = ui.allocate_exact_size(vec2(width, 118.0), Sense::hover());
    let strip = rect.with_max_y(rect.top() + 18.0);
    let graph = rect
        .with_min_y(strip.bottom() + 3.0)
        .with_max_y(rect.bottom() - 22.0);
    let range = (first.at_mm, last.at_mm.max(first.at_mm + 1e-6));
    let x_of = |at: f64| {
        rect.left() + 7.0 + (rect.width() - 14.0) * ((at - range.0) / (range.1 - range.0)) as f32
    };
    ui.painter().rect_filled(graph, 3.0, p.well);
    let places: Vec<f64> = (0..=CURVE)
        .map(|i| range.0 + (range.1 - range.0) * i as f64 / CURVE as f64)
        .collect();
    let shares: Vec<blend::Shares> = match session.ramp_of(region) {
        Some(ramp) => places.iter().map(|&at| ramp.at(at)).collect(),
        None => return,
    };
    draw_strip(ui, session, strip, &places, &shares, &x_of);
    draw_curves(ui, session, graph, &places, &shares, &x_of);
    for (i, stop) in fade.stops.iter().enumerate() {
        let at = StopAt {
            region,
            index: i,
            x: x_of(stop.at_mm),
            mm_per_point: (range.1 - range.0) / f64::from((graph.width() - 14.0).max(1.0)),
        };
        stop_handle(ui, session, &at, stop, graph, send);
    }
}

fn draw_strip(
    ui: &Ui,
    session: &Session,
    strip: Rect,
    places: &[f64],
    shares: &[blend::Shares],
    x_of: &dyn Fn(f64) -> f32,
) {
    let mut mesh = Mesh::default();
    for (i, (at, shares)) in places.iter().zip(shares).enumerate() {
        let colour = colour32(session.colour_of(shares));
        mesh.colored_vertex(pos2(x_of(*at), strip.top()), colour);
        mesh.colored_vertex(pos2(x_of(*at), strip.bottom()), colour);
        if i > 0 {
            let n = 2 * i as u32;
            mesh.add_triangle(n - 2, n - 1, n);
            mesh.add_triangle(n - 1, n, n + 1);
        }
    }
    ui.painter().add(Shape::mesh(mesh));
}

/// One line a spool, numbered, so that lines of like colours can be told apart.
fn draw_curves(
    ui: &Ui,
    session: &Session,
    graph: Rect,
    places: &[f64],
    shares: &[blend::Shares],
    x_of: &dyn Fn(f64) -> f32,
) {
    let p = Palette::from_ui(ui);
    let count = shares.first().map_or(0, blend::Shares::count);
    let inner = graph.shrink2(vec2(0.0, 4.0));
    let y_of = |share: f64| inner.bottom() - inner.height() * share as f32;
    let font = FontId::proportional(size::SMALL - 1.5);
    for component in 0..count {
        let share = |s: &blend::Shares| s.as_slice().get(component).copied().unwrap_or(0.0);
        let points: Vec<_> = places
            .iter()
            .zip(shares)
            .map(|(at, s)| pos2(x_of(*at), y_of(share(s))))
            .collect();
        let colour = colour32(session.spool_colour(component));
        ui.painter()
            .add(Shape::line(points.clone(), Stroke::new(3.5, p.quiet)));
        ui.painter()
            .add(Shape::line(points.clone(), Stroke::new(2.0, colour)));
        // The number stands where this spool has its greatest share.
        let most = points.iter().min_by(|a, b| a.y.total_cmp(&b.y));
        if let Some(most) = most {
            let at = pos2(
                most.x.clamp(inner.left() + 16.0, inner.right() - 16.0),
                (most.y + 9.0).min(inner.bottom() - 6.0),
            );
            let text = format!("{}", component + 1);
            ui.painter()
                .text(at, Align2::CENTER_CENTER, text, font.clone(), p.text);
        }
    }
}

/// A stop on the plot.
struct StopAt {
    region: usize,
    index: usize,
    /// Where it lies across the window, points.
    x: f32,
    mm_per_point: f64,
}

fn stop_handle(
    ui: &mut Ui,
    session: &Session,
    place: &StopAt,
    stop: &Stop,
    graph: Rect,
    send: &mut Commands,
) {
    let index = place.index;
    let p = Palette::from_ui(ui);
    let at = pos2(place.x, graph.bottom() + 10.0);
    let rect = Rect::from_center_size(at, vec2(16.0, 20.0));
    let id = ui.id().with(("plot stop", index));
    let response = ui
        .interact(rect, id, Sense::click_and_drag())
        .on_hover_and_drag_cursor(CursorIcon::ResizeHorizontal);
    let name = format!("Stop {} on the plot", index + 1);
    response.widget_info(|| WidgetInfo::labeled(WidgetType::Slider, true, &name));
    if response.clicked() || response.drag_started() {
        send.send(Command::ChooseStop(index));
    }
    if response.dragged() || response.drag_stopped() {
        let by = f64::from(response.drag_delta().x) * place.mm_per_point;
        let moved = Command::MoveStop {
            region: place.region,
            stop: index,
            to_mm: stop.at_mm + by,
        };
        send.send_on(moved, response.drag_stopped());
    }
    let chosen = session.chosen.stop == Some(index);
    let ring = match chosen || response.hovered() || response.has_focus() {
        true => Stroke::new(2.0, p.accent),
        false => Stroke::new(1.0, p.text),
    };
    let painter = ui.painter();
    painter.vline(at.x, graph.top()..=graph.bottom(), Stroke::new(1.0, p.line));
    let corners = vec![
        pos2(at.x, at.y - 10.0),
        pos2(at.x + 7.0, at.y - 2.0),
        pos2(at.x + 7.0, at.y + 9.0),
        pos2(at.x - 7.0, at.y + 9.0),
        pos2(at.x - 7.0, at.y - 2.0),
    ];
    let fill = colour32(session.colour_of(&stop.shares));
    painter.add(PathShape::convex_polygon(corners, fill, ring));
}

fn stops(ui: &mut Ui, session: &Session, region: usize, stops: &[Stop], send: &mut Commands) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Stops").strong());
        let add = small_icon(
            ui,
            Icon::Plus,
            "Add a stop",
            "Add a stop after the selected one, halfway to the next.",
            false,
        );
        if add.clicked() {
            send.send(Command::AddStop(region));
        }
        note(ui, "select one to set its blend");
    });
    for (index, stop) in stops.iter().enumerate() {
        ui.horizontal(|ui| {
            let chosen = session.chosen.stop == Some(index);
            swatch(ui, session.colour_of(&stop.shares), vec2(18.0, 18.0));
            let text = format!("Stop {}", index + 1);
            if ui.selectable_label(chosen, text).clicked() {
                send.send(Command::ChooseStop(index));
            }
            let number = Number {
                range: (-1e4, 1e4),
                speed: 0.1,
                decimals: 2,
                unit: " mm",
                width: Some(84.0),
            };
            let hint = "The stop's place along the fade, mm.";
            let name = format!("Place of stop {}", index + 1);
            number
                .show(ui, &name, hint, stop.at_mm)
                .send(send, |to_mm| Command::MoveStop {
                    region,
                    stop: index,
                    to_mm,
                });
            let removable = stops.len() > 2;
            let gone = ui
                .add_enabled_ui(removable, |ui| {
                    let name = format!("Remove stop {}", index + 1);
                    small_icon(ui, Icon::Close, &name, "Remove this stop.", false).clicked()
                })
                .inner;
            if gone {
                send.send(Command::RemoveStop(region, index));
            }
        });
    }
}
