//! The regions, the uppermost first: it covers those below.

use egui::{
    Color32, CornerRadius, Id, Mesh, Rect, RichText, ScrollArea, Sense, Shape, Stroke, StrokeKind,
    TextEdit, Ui, UiBuilder, WidgetInfo, WidgetType, pos2, vec2,
};
use plan::{Edit, Paint, Region};

use super::icon::{self, Icon};
use super::shortcuts;
use super::widgets::{self, colour32, heading, note, small_icon};
use crate::commands::{Command, Commands};
use crate::session::Session;
use crate::theme::Palette;

const ROW: f32 = 42.0;
const GAP: f32 = 3.0;
const HEAD: f32 = 74.0;

/// The height that the list takes with so many regions, points.
pub(super) fn height(regions: usize) -> f32 {
    HEAD + (ROW + GAP) * regions as f32 + 10.0
}

/// Shows the list.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    head(ui, session, send);
    let Some(doc) = &session.doc else { return };
    let regions = &doc.plan().regions;
    let areas = (0..regions.len()).filter_map(|r| session.summary.region(r));
    let largest_mm2 = areas.map(|f| f.area_mm2).fold(0.0, f64::max);
    let mut lifted = None;
    ScrollArea::vertical()
        .id_salt("regions")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = GAP;
            for (index, region) in regions.iter().enumerate().rev() {
                if row(ui, session, (index, largest_mm2), region, send) {
                    lifted = Some(index).filter(|_| regions.len() > 1);
                }
            }
        });
    send.send(Command::LiftRegion(lifted));
}

fn head(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.horizontal(|ui| {
        heading(ui, "Regions").on_hover_text("Upper ones cover lower ones.");
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            ui.spacing_mut().item_spacing.x = 3.0;
            for (icon, command) in [
                (Icon::Delete, Command::Delete),
                (Icon::Combine, Command::Combine),
                (Icon::Copy, Command::Duplicate),
                (Icon::Down, Command::Lower),
                (Icon::Up, Command::Raise),
            ] {
                super::header::button(ui, session, send, icon, command);
            }
        });
    });
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 3.0;
        for (text, command) in [
            ("+ Band", Command::AddBand),
            ("+ Area", Command::NewArea),
            ("+ Picture", Command::AskPicture),
            ("+ Letters", Command::PutLetters),
        ] {
            let can = session.can(&command);
            let button = ui.add_enabled(can, egui::Button::new(text));
            if button.on_hover_text(shortcuts::hint(&command)).clicked() {
                send.send(command);
            }
        }
    });
}

/// Shows a region; gives whether the pointer is on it.
fn row(
    ui: &mut Ui,
    session: &Session,
    (index, largest_mm2): (usize, f64),
    region: &Region,
    send: &mut Commands,
) -> bool {
    let width = ui.available_width();
    let (rect, response) = ui.allocate_exact_size(vec2(width, ROW), Sense::click_and_drag());
    let also = session.chosen.also.contains(&index);
    let chosen = session.chosen.region == Some(index) || also;
    response.widget_info(|| {
        WidgetInfo::selected(WidgetType::SelectableLabel, true, chosen, &region.name)
    });
    let p = Palette::from_ui(ui);
    ground(ui, rect, &response, chosen, p);
    let hovered = response.hovered();
    if response.clicked() {
        let keys = widgets::held_with_pointer(ui);
        send.send(match (keys.command, keys.shift) {
            (true, _) => Command::ChooseToo(index),
            (false, true) => Command::ChooseUpTo(index),
            (false, false) => Command::ChooseRegion(index),
        });
    }
    menu(session, index, &response, send);
    if response.double_clicked() {
        send.send(Command::ChooseRegion(index));
        send.send(Command::Rename);
    }
    drag_to_move(ui, index, &response, send);
    let inner = rect.shrink2(vec2(8.0, 4.0));
    let mut ui = ui.new_child(
        UiBuilder::new()
            .max_rect(inner)
            .layout(egui::Layout::left_to_right(egui::Align::Center)),
    );
    ui.spacing_mut().item_spacing.x = 6.0;
    contents(&mut ui, session, (index, largest_mm2), region, p, send);
    hovered
}

/// What can be done to a region, at a click of the right button.
fn menu(session: &Session, index: usize, response: &egui::Response, send: &mut Commands) {
    let selected = session.chosen.region == Some(index) || session.chosen.also.contains(&index);
    if response.secondary_clicked() && !selected {
        send.send(Command::ChooseRegion(index));
    }
    response.context_menu(|ui| {
        for command in [
            Command::ShowRegion(index),
            Command::Rename,
            Command::Duplicate,
            Command::Hide,
            Command::Lock,
            Command::Raise,
            Command::Lower,
            Command::Combine,
            Command::Invert,
            Command::Grow(0.5),
            Command::Grow(-0.5),
            Command::Smooth,
            Command::Delete,
        ] {
            let (name, keys) = match shortcuts::find(&command) {
                Some(entry) => (entry.name, entry.keys.map(shortcuts::keys_text)),
                None => ("Show it on the part", None),
            };
            let button = egui::Button::new(name).shortcut_text(keys.unwrap_or_default());
            let can = session.can(&command);
            if ui.add_enabled(can, button).clicked() {
                send.send(command);
                ui.close();
            }
        }
    });
}

fn ground(ui: &Ui, rect: Rect, response: &egui::Response, chosen: bool, p: Palette) {
    let edge = match (chosen, response.hovered()) {
        (true, _) => Stroke::new(1.5, p.accent),
        (false, true) => Stroke::new(1.0, p.edge),
        (false, false) => Stroke::new(1.0, p.line),
    };
    let painter = ui.painter();
    painter.rect(
        rect,
        CornerRadius::same(6),
        p.raised,
        edge,
        StrokeKind::Inside,
    );
    if chosen {
        let bar = Rect::from_min_size(rect.min + vec2(0.0, 7.0), vec2(3.0, rect.height() - 14.0));
        painter.rect_filled(bar, CornerRadius::same(2), p.accent);
    }
}

fn drag_to_move(ui: &Ui, index: usize, response: &egui::Response, send: &mut Commands) {
    if index > 0 {
        response.dnd_set_drag_payload(index);
    }
    if let Some(over) = response.dnd_hover_payload::<usize>()
        && *over != index
    {
        let p = Palette::from_ui(ui);
        let y = match *over > index {
            true => response.rect.bottom() + GAP * 0.5,
            false => response.rect.top() - GAP * 0.5,
        };
        let stroke = Stroke::new(2.5, p.accent);
        ui.painter().hline(response.rect.x_range(), y, stroke);
    }
    if let Some(from) = response.dnd_release_payload::<usize>() {
        let to = index.max(1);
        send.send(Command::MoveRegion { from: *from, to });
    }
}

fn contents(
    ui: &mut Ui,
    session: &Session,
    (index, largest_mm2): (usize, f64),
    region: &Region,
    p: Palette,
    send: &mut Commands,
) {
    if index > 0 {
        let (sign, name) = match region.hidden {
            true => (Icon::Hidden, format!("Print {}", region.name)),
            false => (
                Icon::Shown,
                format!("Leave {} out of the print", region.name),
            ),
        };
        if small_icon(
            ui,
            sign,
            &name,
            "Leave this region out of the print, or take it back in. What lies under it is printed \
             in its place.",
            false,
        )
        .clicked()
        {
            let hidden = !region.hidden;
            send.edit(Edit::HideRegion {
                region: index,
                hidden,
            });
        }
    } else {
        ui.add_space(28.0);
    }
    let (patch, _) = ui.allocate_exact_size(vec2(24.0, 24.0), Sense::hover());
    paint_patch(ui, session, patch, &region.paint);
    let figures = session.summary.region(index);
    let (area_mm2, mass_g) = figures.map_or((0.0, 0.0), |f| (f.area_mm2, f.mass_g));
    let warned = session.summary.warnings_of(index);
    let warnings: Vec<String> = warned.map(|w| w.text.clone()).collect();
    ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
        let (sign, name) = match region.locked {
            true => (Icon::Locked, format!("Unlock {}", region.name)),
            false => (Icon::Unlocked, format!("Lock {}", region.name)),
        };
        if small_icon(ui, sign, &name, "Protect this region from changes.", false).clicked() {
            let locked = !region.locked;
            send.edit(Edit::LockRegion {
                region: index,
                locked,
            });
        }
        if !warnings.is_empty() {
            let (rect, response) = ui.allocate_exact_size(vec2(15.0, 15.0), Sense::hover());
            icon::paint(ui.painter(), rect, Icon::Warning, p.warn);
            response.on_hover_text(warnings.join("\n"));
        }
        ui.with_layout(egui::Layout::top_down(egui::Align::Min), |ui| {
            ui.spacing_mut().item_spacing.y = 1.0;
            name_field(ui, session, index, region, p, send);
            note(
                ui,
                format!(
                    "{}   {}",
                    widgets::area_beside(area_mm2, largest_mm2),
                    widgets::grams(mass_g)
                ),
            );
        });
    });
}

fn name_field(
    ui: &mut Ui,
    session: &Session,
    index: usize,
    region: &Region,
    p: Palette,
    send: &mut Commands,
) {
    let naming = session.chosen.naming.as_ref();
    let Some((_, typed)) = naming.filter(|(at, _)| *at == index) else {
        let ink = if region.hidden { p.quiet } else { p.text };
        let label = egui::Label::new(RichText::new(&region.name).color(ink));
        ui.add(label.truncate().selectable(false));
        return;
    };
    let mut text = typed.clone();
    let field = TextEdit::singleline(&mut text)
        .id(Id::new(("naming", index)))
        .desired_width(f32::INFINITY);
    let response = ui.add(field.margin(vec2(4.0, 1.0)));
    widgets::named(&response, WidgetType::TextEdit, "Region's name");
    if !response.has_focus() && !response.lost_focus() {
        response.request_focus();
    }
    if response.changed() {
        send.send(Command::TypeName(text));
    }
    if response.lost_focus() {
        send.send(Command::TakeName);
    }
}

/// A patch of a region's blend; a fade runs from its first stop at the bottom to its last.
pub(super) fn paint_patch(ui: &Ui, session: &Session, rect: Rect, paint: &Paint) {
    let p = Palette::from_ui(ui);
    match paint {
        Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => {
            widgets::paint_swatch(ui, rect, colour32(session.colour_of(shares)))
        }
        Paint::Fade { fade, .. } => {
            let colours: Vec<Color32> = fade
                .stops
                .iter()
                .map(|s| colour32(session.colour_of(&s.shares)))
                .collect();
            ui.painter().add(gradient(rect, &colours));
            let edge = Stroke::new(1.0, p.edge);
            ui.painter()
                .rect_stroke(rect, CornerRadius::same(3), edge, StrokeKind::Inside);
        }
    }
}

/// Colours from the bottom of a rectangle to its top.
pub(super) fn gradient(rect: Rect, colours: &[Color32]) -> Shape {
    let mut mesh = Mesh::default();
    let last = colours.len().saturating_sub(1).max(1) as f32;
    for (i, colour) in colours.iter().enumerate() {
        let y = rect.bottom() - rect.height() * i as f32 / last;
        mesh.colored_vertex(pos2(rect.left(), y), *colour);
        mesh.colored_vertex(pos2(rect.right(), y), *colour);
        if i > 0 {
            let n = 2 * i as u32;
            mesh.add_triangle(n - 2, n - 1, n);
            mesh.add_triangle(n - 1, n, n + 1);
        }
    }
    Shape::mesh(mesh)
}
