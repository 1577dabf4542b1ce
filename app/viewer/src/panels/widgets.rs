//! Small pieces that panels are built of.

use blend::Srgb;
use egui::{
    Color32, CornerRadius, Rect, Response, RichText, Sense, Stroke, StrokeKind, Ui, Vec2,
    WidgetInfo, WidgetType, vec2,
};

use super::icon::{self, Icon};
use crate::theme::Palette;

/// An sRGB colour as egui has it.
pub fn colour32(colour: Srgb) -> Color32 {
    let [r, g, b] = colour.0;
    Color32::from_rgb(r, g, b)
}

/// A button that shows a sign; `name` is what it is called to a screen reader.
pub fn icon_button(ui: &mut Ui, icon: Icon, name: &str, hint: &str) -> Response {
    icon_toggle(ui, icon, name, hint, false)
}

/// A button with a sign that stays pressed while something is on.
pub fn icon_toggle(ui: &mut Ui, icon: Icon, name: &str, hint: &str, on: bool) -> Response {
    sized_icon(ui, icon, name, hint, on, vec2(28.0, 26.0))
}

/// A smaller button with a sign, for rows.
pub fn small_icon(ui: &mut Ui, icon: Icon, name: &str, hint: &str, on: bool) -> Response {
    sized_icon(ui, icon, name, hint, on, vec2(22.0, 22.0))
}

fn sized_icon(ui: &mut Ui, icon: Icon, name: &str, hint: &str, on: bool, size: Vec2) -> Response {
    let (rect, response) = ui.allocate_exact_size(size, Sense::click());
    let enabled = ui.is_enabled();
    response.widget_info(|| WidgetInfo::selected(WidgetType::Button, enabled, on, name));
    if ui.is_rect_visible(rect) {
        let p = Palette::from_ui(ui);
        let (fill, ink) = match (on, response.hovered() || response.has_focus()) {
            (true, _) => (p.accent, p.on_accent),
            (false, true) => (p.raised, p.text),
            (false, false) => (Color32::TRANSPARENT, p.text),
        };
        let edge = match response.hovered() || response.has_focus() {
            true => Stroke::new(1.0, p.accent),
            false => Stroke::NONE,
        };
        let painter = ui.painter();
        painter.rect(rect, CornerRadius::same(5), fill, edge, StrokeKind::Inside);
        let sign = rect.shrink((rect.height() - 16.0).max(0.0) / 2.0);
        icon::paint(painter, sign, icon, ink);
    }
    match hint.is_empty() {
        true => response,
        false => response
            .clone()
            .on_hover_text(hint)
            .on_disabled_hover_text(hint),
    }
}

/// A patch of colour with a hairline round it.
pub fn swatch(ui: &mut Ui, colour: Color32, size: Vec2) -> Response {
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    paint_swatch(ui, rect, colour);
    response
}

/// Draws a patch of colour.
pub fn paint_swatch(ui: &Ui, rect: Rect, colour: Color32) {
    let p = Palette::from_ui(ui);
    ui.painter().rect(
        rect,
        CornerRadius::same(3),
        colour,
        Stroke::new(1.0, p.line),
        StrokeKind::Inside,
    );
}

/// A heading of a panel's part.
pub fn heading(ui: &mut Ui, text: &str) -> Response {
    ui.label(RichText::new(text).heading().strong())
}

/// A note in small, quiet type.
pub fn note(ui: &mut Ui, text: impl Into<String>) -> Response {
    let quiet = Palette::from_ui(ui).quiet;
    ui.label(RichText::new(text).small().color(quiet))
}

/// A caution: a sign before text in the usual ink, where there are many to be read.
pub fn signed(ui: &mut Ui, text: impl Into<String>) -> Response {
    let p = Palette::from_ui(ui);
    signed_in(ui, text.into(), p.text)
}

/// A warning: sign and text, so that colour alone does not carry it.
pub fn warning(ui: &mut Ui, text: impl Into<String>) -> Response {
    let p = Palette::from_ui(ui);
    signed_in(ui, text.into(), p.warn)
}

fn signed_in(ui: &mut Ui, text: String, ink: Color32) -> Response {
    let p = Palette::from_ui(ui);
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let (rect, _) = ui.allocate_exact_size(Vec2::splat(15.0), Sense::hover());
        icon::paint(ui.painter(), rect, Icon::Warning, p.warn);
        ui.add(egui::Label::new(RichText::new(text).color(ink)).wrap())
    })
    .inner
}

/// Grams as a person weighs them.
pub fn grams(grams: f64) -> String {
    match grams {
        g if g >= 100.0 => format!("{g:.0} g"),
        g if g >= 10.0 => format!("{g:.1} g"),
        g => format!("{g:.2} g"),
    }
}

/// An area, in mm² or cm².
pub fn area(mm2: f64) -> String {
    match mm2 {
        a if a >= 10_000.0 => format!("{:.0} cm²", a / 100.0),
        a if a >= 1000.0 => format!("{:.1} cm²", a / 100.0),
        a => format!("{a:.0} mm²"),
    }
}

/// A length in mm with no more digits than it needs.
pub fn mm(length_mm: f64) -> String {
    let text = format!("{length_mm:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "-0" => "0".to_owned(),
        text => text.to_owned(),
    }
}

/// A share in percent.
pub fn percent(share: f64) -> String {
    let hundredths = share * 100.0;
    match (hundredths - hundredths.round()).abs() < 0.05 {
        true => format!("{hundredths:.0} %"),
        false => format!("{hundredths:.1} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_digits_that_matter() {
        assert_eq!(mm(12.0), "12");
        assert_eq!(mm(12.50), "12.5");
        assert_eq!(mm(-0.001), "0");
        assert_eq!(grams(3.456), "3.46 g");
        assert_eq!(grams(345.6), "346 g");
        assert_eq!(area(950.0), "950 mm²");
        assert_eq!(area(12_345.0), "123 cm²");
        assert_eq!(percent(0.25), "25 %");
        assert_eq!(percent(0.125), "12.5 %");
    }
}
