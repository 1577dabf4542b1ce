//! The start page: open a file, go on with a recent one, or try a demonstration part.

use egui::{
    Align2, Button, CentralPanel, CornerRadius, FontId, Frame, Margin, Rect, RichText, ScrollArea,
    Sense, Stroke, StrokeKind, TextureOptions, Ui, WidgetInfo, WidgetType, pos2, vec2,
};

use super::icon::{self, Icon};
use super::widgets::{heading, note, small_icon};
use crate::actions::{self, Action};
use crate::jobs::thumbnails::Card;
use crate::state::Session;
use crate::theme::{Palette, size};

const COLUMN: f32 = 860.0;
const CARD: egui::Vec2 = vec2(277.0, 284.0);

/// Shows the page.
pub fn show(ui: &mut Ui, session: &mut Session) {
    session.want_cards();
    session.view.stage = Rect::ZERO;
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
                            contents(ui, session);
                        });
                    });
                });
        });
}

fn contents(ui: &mut Ui, session: &mut Session) {
    let p = Palette::from_ui(ui);
    ui.add_space(16.0);
    ui.horizontal(|ui| {
        ui.label(RichText::new("Tintfall").size(size::TITLE).strong());
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            super::header::button(ui, session, Icon::Question, Action::Help);
            super::header::button(ui, session, Icon::Keys, Action::Keys);
            let sign = match ui.visuals().dark_mode {
                true => Icon::Sun,
                false => Icon::Moon,
            };
            super::header::button(ui, session, sign, Action::Shade);
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
        let text = RichText::new("Open a mesh or a plan…")
            .color(p.on_accent)
            .strong();
        let open = ui.add(Button::new(text).fill(p.accent).min_size(vec2(190.0, 34.0)));
        if open.on_hover_text(actions::hint(Action::Open)).clicked() {
            session.act(Action::Open);
        }
        note(
            ui,
            "or drop one here.  STL, OBJ, PLY, 3MF, or a plan (.plan.ron)",
        );
    });
    ui.add_space(20.0);
    left(ui, session);
    recent(ui, session);
    heading(ui, "Try a part from the museum's workshop");
    ui.add_space(4.0);
    cards(ui, session);
}

/// What windows that are gone have left.
fn left(ui: &mut Ui, session: &mut Session) {
    let left = session.left.clone();
    if left.is_empty() {
        return;
    }
    let p = Palette::from_ui(ui);
    heading(ui, "Not saved when Tintfall ended");
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
                        if ui.button("Throw away").clicked() {
                            session.discard_left(&item);
                        }
                        if ui.button("Recover").clicked() {
                            session.open_left(item.clone());
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

fn recent(ui: &mut Ui, session: &mut Session) {
    let files = session.recent.files.clone();
    if files.is_empty() {
        return;
    }
    heading(ui, "Lately open");
    for file in files.iter().take(6) {
        ui.horizontal(|ui| {
            let name = file
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            if ui.button(name).clicked() {
                session.open(file.clone());
            }
            let folder = file
                .parent()
                .map(|f| f.display().to_string())
                .unwrap_or_default();
            let quiet = Palette::from_ui(ui).quiet;
            let label = RichText::new(folder).small().color(quiet);
            if !file.exists() {
                note(ui, "not there any more");
                if small_icon(
                    ui,
                    Icon::Close,
                    "Take off the list",
                    "Take it off the list.",
                    false,
                )
                .clicked()
                {
                    session.forget_recent(file);
                }
            }
            ui.add(egui::Label::new(label).truncate());
        });
    }
    ui.add_space(16.0);
}

fn cards(ui: &mut Ui, session: &mut Session) {
    let mut wanted = None;
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing = vec2(14.0, 14.0);
        for card in &mut session.cards {
            if one_card(ui, card) {
                wanted = Some(card.name.clone());
            }
        }
    });
    if let Some(name) = wanted {
        session.open_demo(&name);
    }
}

fn one_card(ui: &mut Ui, card: &mut Card) -> bool {
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
            let texture = card.texture.get_or_insert_with(|| {
                ui.ctx()
                    .load_texture(&card.name, image.clone(), TextureOptions::LINEAR)
            });
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
