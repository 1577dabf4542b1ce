//! The start page: open a file, go on with a recent one, or try a demonstration part.

use egui::{
    Align2, CentralPanel, ColorImage, CornerRadius, FontId, Frame, Id, Margin, Rect, RichText,
    ScrollArea, Sense, Stroke, StrokeKind, TextureHandle, TextureOptions, Ui, WidgetInfo,
    WidgetType, pos2, vec2,
};

use super::icon::{self, Icon};
use super::shortcuts;
use super::widgets::{heading, main_button, note, small_icon};
use crate::commands::{Command, Commands};
use crate::jobs::thumbnails::{Card, Picture};
use crate::session::Session;
use crate::theme::{Palette, size};

const CARD: egui::Vec2 = vec2(277.0, 284.0);
/// Between two cards.
const GAP: f32 = 14.0;
/// Four cards beside each other, and a hair for rounding.
const COLUMN: f32 = 4.0 * CARD.x + 3.0 * GAP + 1.0;

/// Shows the page.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    CentralPanel::no_frame()
        .frame(
            Frame::new()
                .fill(p.panel)
                .inner_margin(Margin::symmetric(24, 20)),
        )
        .show(ui, |ui| {
            ScrollArea::vertical()
                .auto_shrink([false, false])
                .show(ui, |ui| {
                    let room = ui.available_width();
                    let column = COLUMN.min(room);
                    ui.horizontal(|ui| {
                        ui.add_space((room - column) * 0.5);
                        ui.vertical(|ui| {
                            ui.set_width(column);
                            contents(ui, session, send);
                        });
                    });
                });
        });
}

fn contents(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    ui.add_space(16.0);
    ui.horizontal(|ui| {
        ui.label(RichText::new("Tintfall").size(size::TITLE).strong());
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            super::header::button(ui, session, send, Icon::Question, Command::Help);
            super::header::button(ui, session, send, Icon::Keys, Command::Keys);
            let sign = match ui.visuals().dark_mode {
                true => Icon::Sun,
                false => Icon::Moon,
            };
            super::header::button(ui, session, send, sign, Command::Appearance);
        });
    });
    ui.label(
        RichText::new(
            "Fades, bands and painted areas for printers that mix filaments in one nozzle.",
        )
        .color(p.quiet),
    );
    ui.add_space(18.0);
    ui.horizontal(|ui| {
        let open = main_button(ui, "Open a mesh or a plan…", true);
        if open
            .on_hover_text(shortcuts::hint(&Command::Open))
            .clicked()
        {
            send.send(Command::Open);
        }
        note(
            ui,
            "or drop one here.  STL, OBJ, PLY, OFF, 3MF, glTF, or a plan (.plan.ron)",
        );
    });
    ui.add_space(20.0);
    left(ui, session, send);
    recent(ui, session, send);
    heading(ui, "Try one of the museum's parts");
    ui.add_space(4.0);
    cards(ui, session, send);
}

/// What windows that are gone have left.
fn left(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let left = &session.left;
    if left.is_empty() {
        return;
    }
    let p = Palette::from_ui(ui);
    heading(ui, "Not saved when Tintfall closed");
    for item in left {
        Frame::new()
            .fill(p.raised)
            .stroke(Stroke::new(1.0, p.warn))
            .corner_radius(6)
            .inner_margin(Margin::symmetric(10, 7))
            .show(ui, |ui| {
                ui.horizontal(|ui| {
                    let (rect, _) = ui.allocate_exact_size(vec2(16.0, 16.0), Sense::hover());
                    icon::paint(ui.painter(), rect, Icon::Warning, p.warn);
                    ui.label(RichText::new(&item.about.title).strong());
                    let from = item.about.plan_file.as_ref();
                    note(
                        ui,
                        match from {
                            Some(file) => format!("{}, {}", file.display(), ago(item.about.at_s)),
                            None => ago(item.about.at_s),
                        },
                    );
                    ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                        if ui.button("Discard").clicked() {
                            send.send(Command::DiscardLeft(item.clone()));
                        }
                        if ui.button("Recover").clicked() {
                            send.send(Command::OpenLeft(item.clone()));
                        }
                    });
                });
            });
    }
    ui.add_space(16.0);
}

fn ago(at_s: u64) -> String {
    let minutes = crate::files::recovery::now_s().saturating_sub(at_s) / 60;
    match minutes {
        0 => "less than a minute ago".to_owned(),
        1 => "a minute ago".to_owned(),
        m if m < 120 => format!("{m} minutes ago"),
        m if m < 60 * 48 => format!("{} hours ago", m / 60),
        m => format!("{} days ago", m / (60 * 24)),
    }
}

fn recent(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let files = &session.recent.files;
    if files.is_empty() {
        return;
    }
    heading(ui, "Recent");
    for file in files.iter().take(6) {
        ui.horizontal(|ui| {
            let name = file
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            if ui.button(name).clicked() {
                send.send(Command::OpenFile(file.clone()));
            }
            let folder = file
                .parent()
                .map(|f| f.display().to_string())
                .unwrap_or_default();
            let quiet = Palette::from_ui(ui).quiet;
            let label = RichText::new(folder).small().color(quiet);
            if !file.exists() {
                note(ui, "file not found");
                if small_icon(
                    ui,
                    Icon::Close,
                    "Remove from the list",
                    "Remove it from the list.",
                    false,
                )
                .clicked()
                {
                    send.send(Command::ForgetRecent(file.clone()));
                }
            }
            ui.add(egui::Label::new(label).truncate());
        });
    }
    ui.add_space(16.0);
}

fn cards(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let mut wanted = None;
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing = vec2(GAP, GAP);
        for card in session.cards.iter() {
            if one_card(ui, card) {
                wanted = Some(card.name.clone());
            }
        }
    });
    if let Some(name) = wanted {
        send.send(Command::OpenDemo(name));
    }
}

/// A card's picture on the graphics card, uploaded once.
fn texture(ui: &Ui, card: &Card, picture: &Picture) -> TextureHandle {
    let id = Id::new(("card", &card.name));
    if let Some(known) = ui.data(|d| d.get_temp(id)) {
        return known;
    }
    let image = ColorImage::from_rgba_unmultiplied(picture.size_px, &picture.rgba);
    let texture = ui
        .ctx()
        .load_texture(&card.name, image, TextureOptions::LINEAR);
    ui.data_mut(|d| d.insert_temp(id, texture.clone()));
    texture
}

fn one_card(ui: &mut Ui, card: &Card) -> bool {
    let (rect, response) = ui.allocate_exact_size(CARD, Sense::click());
    response.widget_info(|| WidgetInfo::labeled(WidgetType::Button, true, &card.title));
    let p = Palette::from_ui(ui);
    let edge = match response.hovered() || response.has_focus() {
        true => Stroke::new(2.0, p.accent),
        false => Stroke::new(1.0, p.line),
    };
    let painter = ui.painter();
    painter.rect(
        rect,
        CornerRadius::same(8),
        p.raised,
        edge,
        StrokeKind::Inside,
    );
    let picture = Rect::from_min_size(rect.min + vec2(8.0, 8.0), vec2(CARD.x - 16.0, 200.0));
    painter.rect_filled(picture, CornerRadius::same(5), p.stage);
    match &card.picture {
        Some(image) => {
            let texture = texture(ui, card, image);
            let uv = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            painter.image(texture.id(), picture, uv, egui::Color32::WHITE);
        }
        None => {
            let font = FontId::proportional(size::SMALL);
            painter.text(
                picture.center(),
                Align2::CENTER_CENTER,
                "drawing…",
                font,
                p.quiet,
            );
        }
    }
    let title = painter.layout(
        card.title.clone(),
        FontId::proportional(size::HEADING),
        p.text,
        CARD.x - 24.0,
    );
    let below = picture.bottom() + 9.0;
    painter.galley(pos2(rect.left() + 12.0, below), title.clone(), p.text);
    let about = painter.layout(
        card.about.clone(),
        FontId::proportional(size::SMALL),
        p.quiet,
        CARD.x - 24.0,
    );
    let at = pos2(rect.left() + 12.0, below + title.size().y + 4.0);
    painter.galley(at, about, p.quiet);
    response.clicked()
}
