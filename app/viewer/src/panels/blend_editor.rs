//! The blend editor: each spool's share by slider and by number, held shares, the colour of
//! the blend beside the spools', and the blend that comes closest to a wanted colour.

use blend::{Shares, Srgb};
use egui::{Color32, DragValue, RichText, Sense, Slider, TextEdit, Ui, vec2};

use super::icon::Icon;
use super::widgets::{self, colour32, heading, note, small_icon, swatch};
use crate::state::Session;

/// Shows the editor for the chosen region's blend, or its fade's chosen stop.
pub fn show(ui: &mut Ui, session: &mut Session) {
    let Some(shares) = session.blend_in_hand() else {
        return;
    };
    let locked = session.chosen_region().is_some_and(|r| r.locked);
    ui.add_space(4.0);
    ui.horizontal(|ui| {
        heading(ui, "Blend");
        if let Some(stop) = session.chosen.stop {
            note(ui, format!("of stop {}", stop + 1));
        }
        if locked {
            note(ui, "locked");
        }
    });
    result(ui, session, &shares);
    ui.add_enabled_ui(!locked, |ui| {
        components(ui, session, &shares);
        ui.add_space(6.0);
        closest(ui, session);
    });
}

/// The blend's colour, with its numbers.
fn result(ui: &mut Ui, session: &Session, shares: &Shares) {
    let Some(model) = session.model() else { return };
    let xyz = model.mix(shares);
    let (lab, srgb) = (xyz.to_lab(), xyz.to_srgb());
    ui.horizontal(|ui| {
        swatch(ui, colour32(srgb), vec2(74.0, 44.0))
            .on_hover_text("The predicted colour of this blend, printed thick.");
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.y = 2.0;
            ui.label(RichText::new(srgb.to_string()).monospace());
            note(
                ui,
                format!("L* {:.1}   a* {:.1}   b* {:.1}", lab.l, lab.a, lab.b),
            );
            if let Some(uncertainty) = model.uncertainty(shares) {
                note(ui, format!("give or take ΔE00 {uncertainty:.1}"));
            }
        });
    });
}

fn components(ui: &mut Ui, session: &mut Session, shares: &Shares) {
    let Some(doc) = &session.doc else { return };
    let spools: Vec<(String, Color32)> = doc
        .plan()
        .spools
        .iter()
        .map(|s| (s.name.clone(), colour32(s.xyz().to_srgb())))
        .collect();
    let step = doc.plan().machine.share_step;
    for (component, (name, colour)) in spools.iter().enumerate() {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            swatch(ui, *colour, vec2(16.0, 16.0));
            let left = egui::Layout::left_to_right(egui::Align::Center);
            ui.allocate_ui_with_layout(vec2(82.0, 22.0), left, |ui| {
                ui.set_min_width(82.0);
                let label = egui::Label::new(name.as_str()).truncate();
                ui.add(label).on_hover_text(name);
            });
            share(ui, session, shares, component, name, step);
            hold(ui, session, component, name);
        });
    }
    ui.horizontal(|ui| {
        let mut free = session.free_shares;
        ui.checkbox(&mut free, "Finer than the machine sets")
            .on_hover_text(format!(
                "The machine sets shares in steps of {}. Tick to type shares in between; they are \
                 rounded when the part is prepared.",
                widgets::percent(step)
            ));
        session.free_shares = free;
    });
}

fn share(
    ui: &mut Ui,
    session: &mut Session,
    shares: &Shares,
    component: usize,
    name: &str,
    step: f64,
) {
    let now = shares
        .as_slice()
        .get(component)
        .copied()
        .unwrap_or_default();
    let mut percent = now * 100.0;
    let held = session
        .chosen
        .held
        .get(component)
        .copied()
        .unwrap_or_default();
    let step = if session.free_shares {
        0.0
    } else {
        step * 100.0
    };
    ui.add_enabled_ui(!held, |ui| {
        ui.spacing_mut().slider_width = 78.0;
        let mut slider = Slider::new(&mut percent, 0.0..=100.0).show_value(false);
        if step > 0.0 {
            slider = slider.step_by(step);
        }
        let on_slider = ui.add(slider);
        let number = DragValue::new(&mut percent)
            .range(0.0..=100.0)
            .max_decimals(1)
            .speed(0.5)
            .suffix(" %");
        let on_number = ui.add_sized(vec2(60.0, 22.0), number);
        for response in [&on_slider, &on_number] {
            let done = response.drag_stopped() || response.lost_focus();
            if response.changed() || done {
                session.set_share(component, percent / 100.0, done || !response.dragged());
            }
        }
        on_slider.on_hover_text(format!("Share of {name} by volume, %."));
    });
}

fn hold(ui: &mut Ui, session: &mut Session, component: usize, name: &str) {
    let held = session
        .chosen
        .held
        .get(component)
        .copied()
        .unwrap_or_default();
    let (icon, label) = match held {
        true => (Icon::Locked, format!("Free the share of {name}")),
        false => (Icon::Unlocked, format!("Hold the share of {name}")),
    };
    let hint = "Hold this share while the others change.";
    if small_icon(ui, icon, &label, hint, held).clicked()
        && let Some(held) = session.chosen.held.get_mut(component)
    {
        *held = !*held;
    }
}

/// A wanted colour, and the blend that comes closest to it.
fn closest(ui: &mut Ui, session: &mut Session) {
    ui.label(RichText::new("Closest blend to a colour").strong());
    ui.horizontal(|ui| {
        let mut wanted = session.wanted.0;
        if ui
            .color_edit_button_srgb(&mut wanted)
            .on_hover_text("The colour that you want.")
            .changed()
        {
            session.wanted = Srgb(wanted);
            session.wanted_text = session.wanted.to_string();
        }
        let mut text = session.wanted_text.clone();
        let field = TextEdit::singleline(&mut text)
            .desired_width(74.0)
            .hint_text("#1f6f8b");
        if ui
            .add(field)
            .on_hover_text("The colour that you want, as six hexadecimal digits.")
            .changed()
        {
            if let Ok(colour) = text.trim().parse() {
                session.wanted = colour;
            }
            session.wanted_text = text;
        }
        let Some(best) = session.closest_blend() else {
            return;
        };
        let colour = session.colour_of(&best.shares);
        let (patch, response) = ui.allocate_exact_size(vec2(24.0, 20.0), Sense::hover());
        widgets::paint_swatch(ui, patch, colour);
        response.on_hover_text("What the spools can do.");
        ui.label(format!("ΔE00 {:.1}", best.delta_e00))
            .on_hover_text(format!("How far the closest blend misses the wanted colour; 1 is just seen side by side. {}", best.why));
        if ui.button("Use").on_hover_text("Set this blend.").clicked() {
            session.set_blend_in_hand(best.shares, true);
        }
    });
}
