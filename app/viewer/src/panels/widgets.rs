//! Small pieces that panels are built of.

use blend::Srgb;
use egui::{
    Color32, CornerRadius, DragValue, Event, Frame, Margin, Modifiers, Rect, Response, RichText,
    Sense, Slider, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, WidgetType, vec2,
};

use super::icon::{self, Icon};
use crate::commands::{Command, Commands};
use crate::theme::{self, Palette};

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
        let (fill, ink) = match (on, response.hovered()) {
            (true, _) => (p.accent, p.on_accent),
            (false, true) => (p.raised, p.text),
            (false, false) => (Color32::TRANSPARENT, p.text),
        };
        let edge = match response.hovered() {
            true => Stroke::new(1.0, p.line),
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

/// Gives a widget the name by which it is known to a screen reader.
pub fn named(response: &Response, kind: WidgetType, name: &str) {
    let enabled = response.enabled();
    response.widget_info(|| WidgetInfo::labeled(kind, enabled, name));
}

/// The keys that were held at the last press or release of a button: on a slow frame they may be
/// up again by now.
pub fn held_with_pointer(ui: &Ui) -> Modifiers {
    ui.input(|i| {
        let mut events = i.events.iter().rev();
        let at_button = events.find_map(|event| match event {
            Event::PointerButton { modifiers, .. } => Some(*modifiers),
            _ => None,
        });
        at_button.unwrap_or(i.modifiers)
    })
}

/// A button for what a page is there for.
pub fn main_button(ui: &mut Ui, text: &str, can: bool) -> Response {
    ui.scope(|ui| {
        theme::fill_buttons(ui.visuals_mut());
        ui.add_enabled(can, egui::Button::new(RichText::new(text).strong()))
    })
    .inner
}

/// A patch of colour with a hairline round it.
pub fn swatch(ui: &mut Ui, colour: Srgb, size: Vec2) -> Response {
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    paint_swatch(ui, rect, colour32(colour));
    response
}

/// Draws a patch of colour.
pub fn paint_swatch(ui: &Ui, rect: Rect, colour: Color32) {
    let p = Palette::from_ui(ui);
    ui.painter().rect(
        rect,
        CornerRadius::same(3),
        colour,
        Stroke::new(1.0, p.edge),
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

/// Cautions that are told in a list.
const MOST_CAUTIONS: usize = 8;

/// A list of cautions, or the first of them.
pub fn cautions(ui: &mut Ui, list: &[String]) {
    for text in list.iter().take(MOST_CAUTIONS) {
        warning(ui, text.as_str());
    }
    let more = list.len().saturating_sub(MOST_CAUTIONS);
    if more > 0 {
        note(ui, format!("and {more} more."));
    }
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

/// A frame with an edge that is seen.
pub fn boxed(ui: &mut Ui, edge: Color32, contents: impl FnOnce(&mut Ui)) {
    let p = Palette::from_ui(ui);
    Frame::new()
        .fill(p.raised)
        .stroke(Stroke::new(1.0, edge))
        .corner_radius(6)
        .inner_margin(Margin::symmetric(9, 7))
        .show(ui, contents);
}

/// A sign before a line of text.
pub fn line(ui: &mut Ui, sign: Icon, ink: Color32, text: &str) {
    ui.horizontal_top(|ui| {
        let (rect, _) = ui.allocate_exact_size(vec2(16.0, 18.0), Sense::hover());
        icon::paint(ui.painter(), rect, sign, ink);
        ui.add(egui::Label::new(text).wrap());
    });
}

/// What a person has just done to a number. Showing it is nothing: a value that the field rounds,
/// or holds within its range, stays what it is until a person changes it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Turned {
    /// What it was set to.
    pub to: Option<f64>,
    /// It was let go, or its field was left.
    pub done: bool,
}

impl Turned {
    fn of(response: &Response, shown: f64, now: f64, least: f64) -> Self {
        let turned = response.changed() && (now - shown).abs() > least * 1e-3;
        Self {
            to: turned.then_some(now),
            done: response.drag_stopped() || response.lost_focus(),
        }
    }

    /// Sends what it comes to.
    pub fn send(self, send: &mut Commands, command: impl FnOnce(f64) -> Command) {
        if let Some(to) = self.to {
            send.send(command(to));
        }
        if self.done {
            send.send(Command::EditDone);
        }
    }

    /// Sends what it comes to, where that is no change of the plan.
    pub fn set(self, send: &mut Commands, command: impl FnOnce(f64) -> Command) {
        if let Some(to) = self.to {
            send.send(command(to));
        }
    }

    /// One of two, whichever was touched.
    pub fn or(self, other: Self) -> Self {
        Self {
            to: self.to.or(other.to),
            done: self.done || other.done,
        }
    }
}

/// A field for a number.
#[derive(Clone, Copy, Debug)]
pub struct Number {
    /// The least and the greatest value.
    pub range: (f64, f64),
    /// How far a point of a drag goes.
    pub speed: f64,
    /// Digits after the point.
    pub decimals: usize,
    /// The unit, with a space before it.
    pub unit: &'static str,
    /// Its width, points; none for what it needs.
    pub width: Option<f32>,
}

impl Number {
    /// Shows a value.
    pub fn show(self, ui: &mut Ui, name: &str, hint: &str, value: f64) -> Turned {
        let (low, high) = self.range;
        let shown = egui::emath::round_to_decimals(value, self.decimals).clamp(low, high);
        let mut now = shown;
        let field = DragValue::new(&mut now)
            .range(low..=high)
            .speed(self.speed)
            .max_decimals(self.decimals)
            .suffix(self.unit);
        let response = match self.width {
            Some(width) => ui.add_sized(vec2(width, 22.0), field),
            None => ui.add(field),
        };
        response.widget_info(|| {
            let mut info = WidgetInfo::drag_value(ui.is_enabled(), shown);
            info.label = Some(name.to_owned());
            info
        });
        let turned = Turned::of(&response, shown, now, 10_f64.powi(-(self.decimals as i32)));
        if !hint.is_empty() {
            response.on_hover_text(hint);
        }
        turned
    }
}

/// A slider in steps; 0 for none.
pub fn slider(
    ui: &mut Ui,
    name: &str,
    hint: &str,
    value: f64,
    (low, high): (f64, f64),
    step: f64,
) -> Turned {
    let value = value.clamp(low, high);
    let shown = match step > 0.0 {
        true => (low + ((value - low) / step).round() * step).clamp(low, high),
        false => value,
    };
    let mut now = shown;
    let mut slider = Slider::new(&mut now, low..=high).show_value(false);
    if step > 0.0 {
        slider = slider.step_by(step);
    }
    let response = ui.add(slider);
    response.widget_info(|| WidgetInfo::slider(ui.is_enabled(), shown, name));
    let least = if step > 0.0 {
        step
    } else {
        (high - low) * 1e-6
    };
    let turned = Turned::of(&response, shown, now, least);
    if !hint.is_empty() {
        response.on_hover_text(hint);
    }
    turned
}

/// Grams as a person weighs them.
pub fn grams(grams: f64) -> String {
    match grams {
        g if g >= 100.0 => format!("{g:.0} g"),
        g if g >= 10.0 => format!("{g:.1} g"),
        g if g >= 0.1 => format!("{g:.2} g"),
        g => format!("{} g", report::amount::amount(g)),
    }
}

/// An area, in mm² or cm².
pub fn area(mm2: f64) -> String {
    match mm2 {
        a if a >= 10_000.0 => format!("{:.0} cm²", a / 100.0),
        a if a >= 1000.0 => format!("{:.1} cm²", a / 100.0),
        a if a >= 10.0 => format!("{a:.0} mm²"),
        a => geometry::inspect::area_words(a),
    }
}

/// An area beside others, all of them in the unit that suits the largest.
pub fn area_beside(mm2: f64, largest_mm2: f64) -> String {
    match largest_mm2 >= 1000.0 {
        true if mm2 >= 10_000.0 => format!("{:.0} cm²", mm2 / 100.0),
        true if mm2 >= 100.0 => format!("{:.1} cm²", mm2 / 100.0),
        true => format!("{:.2} cm²", mm2 / 100.0),
        false => area(mm2),
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
        assert_eq!(area_beside(123.0, 12_345.0), "1.2 cm²");
        assert_eq!(area_beside(7.0, 12_345.0), "0.07 cm²");
        assert_eq!(area_beside(123.0, 950.0), "123 mm²");
        assert_eq!(percent(0.25), "25 %");
        assert_eq!(percent(0.125), "12.5 %");
    }
}
