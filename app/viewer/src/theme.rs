//! The look of the window: greys without a hue, so that nothing around the part shifts how its
//! colours are judged, and one blue for what is chosen or asks to be clicked.
//!
//! Blue against orange stays apart under every common kind of colour vision; still each state
//! also has a shape or a word, so colour alone never carries it.

use egui::epaint::Shadow;
use egui::{
    Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Stroke, Style,
    TextStyle, Visuals,
};

use crate::files::settings::Appearance;

/// The colours that panels and the stage draw with, beside egui's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Palette {
    /// Behind the part.
    pub stage: Color32,
    /// Panels.
    pub panel: Color32,
    /// Raised pieces on panels.
    pub raised: Color32,
    /// Wells: the ribbon's ground, edit fields.
    pub well: Color32,
    /// Hairlines.
    pub line: Color32,
    /// Edges that have to be seen: of swatches, ticks and fields.
    pub edge: Color32,
    /// Text.
    pub text: Color32,
    /// Text of less weight.
    pub quiet: Color32,
    /// What is chosen or can be dragged.
    pub accent: Color32,
    /// Text on the accent.
    pub on_accent: Color32,
    /// Warnings.
    pub warn: Color32,
    /// Errors.
    pub error: Color32,
    /// Fill of the plate, with its opacity.
    pub plate: Color32,
    /// Lines of the plate.
    pub plate_line: Color32,
    /// The face that a cut shows.
    pub cut_face: Color32,
}

const fn grey(level: u8) -> Color32 {
    Color32::from_gray(level)
}

impl Palette {
    /// The palette of an appearance.
    pub fn of(appearance: Appearance) -> Self {
        match appearance {
            Appearance::Light => Self {
                stage: grey(222),
                panel: grey(244),
                raised: grey(252),
                well: grey(234),
                line: grey(206),
                edge: grey(118),
                text: grey(28),
                quiet: grey(96),
                accent: Color32::from_rgb(0, 92, 175),
                on_accent: Color32::WHITE,
                warn: Color32::from_rgb(166, 82, 0),
                error: Color32::from_rgb(176, 22, 30),
                plate: Color32::from_rgba_unmultiplied(250, 250, 250, 150),
                plate_line: Color32::from_rgba_unmultiplied(90, 90, 90, 190),
                cut_face: grey(176),
            },
            Appearance::Dark => Self {
                stage: grey(52),
                panel: grey(34),
                raised: grey(48),
                well: grey(25),
                line: grey(66),
                edge: grey(138),
                text: grey(228),
                quiet: grey(158),
                accent: Color32::from_rgb(102, 178, 255),
                on_accent: grey(14),
                warn: Color32::from_rgb(255, 176, 84),
                error: Color32::from_rgb(255, 130, 126),
                plate: Color32::from_rgba_unmultiplied(20, 20, 20, 120),
                plate_line: Color32::from_rgba_unmultiplied(190, 190, 190, 170),
                cut_face: grey(96),
            },
        }
    }

    /// The palette that fits the visuals in use.
    pub fn from_ui(ui: &egui::Ui) -> Self {
        Self::of(match ui.visuals().dark_mode {
            true => Appearance::Dark,
            false => Appearance::Light,
        })
    }
}

/// Sizes of text, points.
pub mod size {
    /// Running text.
    pub const BODY: f32 = 13.5;
    /// Notes and scale numbers.
    pub const SMALL: f32 = 11.5;
    /// Headings of panels.
    pub const HEADING: f32 = 15.5;
    /// The name on the start page.
    pub const TITLE: f32 = 30.0;
}

/// The family of the signs' font.
pub const SIGNS: &str = "signs";

/// Adds the signs' font to egui's own, once for a context.
pub fn add_fonts(ctx: &egui::Context) {
    let id = egui::Id::new("fonts were added");
    if ctx.data(|d| d.get_temp::<bool>(id)).unwrap_or_default() {
        return;
    }
    ctx.data_mut(|d| d.insert_temp(id, true));
    let mut fonts = FontDefinitions::default();
    let signs = FontData::from_static(lucide_icons::LUCIDE_FONT_BYTES);
    fonts.font_data.insert(SIGNS.to_owned(), signs.into());
    let family = FontFamily::Name(SIGNS.into());
    fonts.families.insert(family, vec![SIGNS.to_owned()]);
    ctx.set_fonts(fonts);
}

/// Sets the look of a context.
pub fn apply(ctx: &egui::Context, appearance: Appearance) {
    let theme = match appearance {
        Appearance::Light => egui::Theme::Light,
        Appearance::Dark => egui::Theme::Dark,
    };
    ctx.set_theme(theme);
    ctx.set_style_of(theme, style(appearance));
    // A slow hand, or a slow machine, clicks too: a drag is told by its way, not by its time.
    ctx.options_mut(|o| o.input_options.max_click_duration = 10.0);
}

fn style(appearance: Appearance) -> Style {
    let mut style = Style {
        visuals: visuals(appearance),
        ..Style::default()
    };
    let font = |size| FontId::new(size, FontFamily::Proportional);
    style.text_styles = [
        (TextStyle::Small, font(size::SMALL)),
        (TextStyle::Body, font(size::BODY)),
        (TextStyle::Button, font(size::BODY)),
        (TextStyle::Heading, font(size::HEADING)),
        (
            TextStyle::Monospace,
            FontId::new(size::SMALL + 0.5, FontFamily::Monospace),
        ),
    ]
    .into();
    let spacing = &mut style.spacing;
    spacing.item_spacing = egui::vec2(8.0, 6.0);
    spacing.button_padding = egui::vec2(9.0, 4.0);
    spacing.interact_size = egui::vec2(36.0, 24.0);
    spacing.slider_width = 130.0;
    spacing.slider_rail_height = 5.0;
    spacing.combo_width = 96.0;
    spacing.menu_margin = Margin::same(8);
    spacing.window_margin = Margin::same(14);
    spacing.tooltip_width = 320.0;
    spacing.scroll.floating = true;
    style.interaction.tooltip_delay = 0.45;
    style.interaction.selectable_labels = false;
    style.animation_time = 0.0;
    style
}

fn visuals(appearance: Appearance) -> Visuals {
    let p = Palette::of(appearance);
    let mut v = match appearance {
        Appearance::Light => Visuals::light(),
        Appearance::Dark => Visuals::dark(),
    };
    let round = CornerRadius::same(5);
    v.panel_fill = p.panel;
    v.window_fill = p.panel;
    v.window_stroke = Stroke::new(1.0, p.line);
    v.window_corner_radius = CornerRadius::same(9);
    v.menu_corner_radius = CornerRadius::same(7);
    let shadow = Shadow {
        offset: [0, 3],
        blur: 14,
        spread: 0,
        color: Color32::from_black_alpha(if appearance == Appearance::Light {
            38
        } else {
            110
        }),
    };
    v.window_shadow = shadow;
    v.popup_shadow = shadow;
    v.extreme_bg_color = p.well;
    v.faint_bg_color = p.well;
    v.weak_text_color = Some(p.quiet);
    v.warn_fg_color = p.warn;
    v.error_fg_color = p.error;
    v.hyperlink_color = p.accent;
    v.selection.bg_fill = p.accent;
    v.selection.stroke = Stroke::new(1.0, p.on_accent);
    v.slider_trailing_fill = true;
    let line = Stroke::new(1.0, p.line);
    let w = &mut v.widgets;
    for (state, fill, stroke, text) in [
        (&mut w.noninteractive, p.panel, line, p.text),
        (&mut w.inactive, p.raised, Stroke::new(1.0, p.edge), p.text),
        (&mut w.hovered, p.raised, Stroke::new(1.0, p.accent), p.text),
        (&mut w.active, p.well, Stroke::new(1.5, p.accent), p.text),
        (&mut w.open, p.well, line, p.text),
    ] {
        state.bg_fill = fill;
        state.weak_bg_fill = fill;
        state.bg_stroke = stroke;
        state.fg_stroke = Stroke::new(1.2, text);
        state.corner_radius = round;
        state.expansion = 0.0;
    }
    v
}

/// Makes buttons filled ones: for what a page is there for. Under the pointer they have a ring in the
/// colour of their text, for a border in the accent would not show.
pub fn fill_buttons(v: &mut Visuals) {
    let p = Palette::of(match v.dark_mode {
        true => Appearance::Dark,
        false => Appearance::Light,
    });
    let w = &mut v.widgets;
    for (state, edge) in [
        (&mut w.inactive, Stroke::NONE),
        (&mut w.hovered, Stroke::new(1.5, p.on_accent)),
        (&mut w.active, Stroke::new(3.0, p.on_accent)),
    ] {
        state.weak_bg_fill = p.accent;
        state.bg_fill = p.accent;
        state.bg_stroke = edge;
        state.fg_stroke = Stroke::new(1.2, p.on_accent);
    }
}

/// Black or white, whichever reads better on a colour (relative luminance as in WCAG 2).
pub fn ink_on(colour: Color32) -> Color32 {
    match luminance(colour) > 0.179 {
        true => Color32::BLACK,
        false => Color32::WHITE,
    }
}

fn luminance(colour: Color32) -> f32 {
    let linear = egui::Rgba::from(colour);
    0.2126 * linear.r() + 0.7152 * linear.g() + 0.0722 * linear.b()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WCAG 2 contrast ratio.
    fn contrast(one: Color32, other: Color32) -> f32 {
        let (a, b) = (luminance(one), luminance(other));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn text_reads_on_what_it_stands_on() {
        // WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1.
        for appearance in [Appearance::Light, Appearance::Dark] {
            let p = Palette::of(appearance);
            for ground in [p.panel, p.raised, p.well] {
                for ink in [p.text, p.quiet, p.accent, p.warn, p.error] {
                    let ratio = contrast(ink, ground);
                    assert!(
                        ratio >= 4.5,
                        "{appearance:?} {ink:?} on {ground:?}: {ratio}"
                    );
                }
            }
            assert!(contrast(p.on_accent, p.accent) >= 4.5);
            assert!(contrast(p.text, p.stage) >= 4.5);
        }
    }

    #[test]
    fn edges_and_the_focus_are_seen_on_what_they_stand_on() {
        // WCAG 2.2, success criteria 1.4.11 and 2.4.13: at least 3 to 1. The ring of the focus is
        // drawn in the colour of text on a wider one in the colour of panels.
        for appearance in [Appearance::Light, Appearance::Dark] {
            let p = Palette::of(appearance);
            for ground in [p.panel, p.raised, p.well, p.stage] {
                for edge in [p.edge, p.accent, p.text, p.warn, p.error] {
                    let ratio = contrast(edge, ground);
                    assert!(
                        ratio >= 3.0,
                        "{appearance:?} {edge:?} on {ground:?}: {ratio}"
                    );
                }
            }
            assert!(contrast(p.text, p.panel) >= 3.0);
        }
    }

    #[test]
    fn every_state_of_a_control_can_be_seen_and_told_from_the_others() {
        for appearance in [Appearance::Light, Appearance::Dark] {
            let p = Palette::of(appearance);
            let plain = visuals(appearance).widgets;
            // What shows that a box can be ticked and a field typed in: their outlines.
            for state in [plain.inactive, plain.hovered, plain.active] {
                for ground in [p.panel, p.raised] {
                    assert!(contrast(state.bg_stroke.color, ground) >= 3.0);
                }
            }
            assert_ne!(plain.inactive.bg_stroke, plain.hovered.bg_stroke);
            let mut filled = visuals(appearance);
            fill_buttons(&mut filled);
            let filled = filled.widgets;
            for state in [filled.inactive, filled.hovered, filled.active] {
                assert!(contrast(state.fg_stroke.color, state.weak_bg_fill) >= 4.5);
            }
            let ring = filled.hovered.bg_stroke;
            assert!(contrast(ring.color, filled.hovered.weak_bg_fill) >= 3.0);
            assert_ne!(filled.inactive.bg_stroke, filled.hovered.bg_stroke);
            // Nothing moves by itself: there is no motion to be reduced.
            assert_eq!(style(appearance).animation_time, 0.0);
        }
    }

    #[test]
    fn ink_on_any_grey_reads() {
        for level in 0..=255 {
            let ground = grey(level);
            assert!(contrast(ink_on(ground), ground) >= 4.5, "{level}");
        }
    }
}
