//! The spools: names, colours, density and diameter, and what the part takes of each.

use blend::{MAX_COMPONENTS, Shares, Spool, SpoolColour, Srgb};
use egui::{DragValue, Frame, Margin, Stroke, TextEdit, Ui};

use super::icon::Icon;
use super::widgets::{self, heading, note, small_icon};
use crate::state::Session;
use crate::state::session::Page;
use crate::theme::Palette;

/// Shows the spools.
pub fn show(ui: &mut Ui, session: &mut Session) {
    let Some(doc) = &session.doc else { return };
    let spools = doc.plan().spools.list.clone();
    let file = doc.plan().spools.file.clone();
    heading(ui, "Spools");
    note(ui, "In the order of the hotend's inlets.");
    from_where(ui, session, file.as_deref());
    ui.add_enabled_ui(file.is_none(), |ui| {
        for (index, spool) in spools.iter().enumerate() {
            one(ui, session, index, spool);
        }
    });
    ui.add_space(4.0);
    let room = file.is_none() && spools.len() < MAX_COMPONENTS;
    let add = ui.add_enabled(room, egui::Button::new("+ Spool"));
    if add
        .on_hover_text("One more spool. Every blend gets a share of 0 % of it at first.")
        .clicked()
    {
        session.add_spool();
    }
}

/// Where the spools come from, and how they can be had from elsewhere.
fn from_where(ui: &mut Ui, session: &mut Session, file: Option<&str>) {
    if let Some(file) = file {
        let label = egui::Label::new(format!("They stand in {file}"));
        ui.add(label.wrap());
    }
    let figures = session.measured_spools().map(|m| {
        let rms = m.leave_one_out_rms_delta_e00;
        (rms.unwrap_or(m.rms_delta_e00), m.steps.len())
    });
    note(
        ui,
        match figures {
            Some((rms, steps)) => {
                format!("Fitted to {steps} measured steps; expect blends within about ΔE00 {rms:.1}.")
            }
            None => "Blends are estimated from the spools' own colours alone. Measure a test print to know them better.".to_owned(),
        },
    );
    ui.horizontal_wrapped(|ui| {
        let read = ui.button("From a file…");
        if read
            .on_hover_text("Take spools from a file, or fit them to the readings of a test print.")
            .clicked()
        {
            session.ask_spool_file();
        }
        if figures.is_some() {
            let steps = ui.button("Measured steps…");
            if steps
                .on_hover_text("Each step of the test print, as predicted and as measured.")
                .clicked()
            {
                session.page = Some(Page::Steps);
            }
        }
        if file.is_some() {
            let own = ui.button("Change here");
            if own
                .on_hover_text("Take the spools into the plan, to change them. What was measured of their blends no longer holds then.")
                .clicked()
            {
                session.own_spools();
            }
        }
    });
    ui.add_space(4.0);
}

/// How a spool's colour is known, and how sure it is.
fn how_known(ui: &mut Ui, session: &Session, index: usize, spool: &Spool) {
    let count = session.doc.as_ref().map_or(0, |d| d.plan().spools.len());
    let fitted = session.measured_spools();
    let strength = fitted.and_then(|m| {
        let both = m.strengths.get(index).zip(m.strength_errors.get(index));
        both.map(|(s, e)| format!("tinting strength {s:.2} ± {:.0} %", e * 100.0))
    });
    let known = match (&spool.colour, fitted.is_some()) {
        (_, true) => "measured",
        (SpoolColour::Lab(_) | SpoolColour::Spectrum(_), false) => "measured alone",
        (SpoolColour::Hex(_), false) => "estimated from a colour code",
    };
    let sure = Shares::pure(index, count)
        .zip(session.model())
        .and_then(|(alone, model)| model.uncertainty(&alone));
    let mut text = known.to_owned();
    if let Some(sure) = sure.filter(|s| *s >= 0.05) {
        text.push_str(&format!(", ± ΔE00 {sure:.1}"));
    }
    if let Some(strength) = strength {
        text.push_str(", ");
        text.push_str(&strength);
    }
    note(ui, text);
}

fn one(ui: &mut Ui, session: &mut Session, index: usize, spool: &Spool) {
    let p = Palette::from_ui(ui);
    let frame = Frame::new()
        .fill(p.raised)
        .stroke(Stroke::new(1.0, p.line))
        .corner_radius(6)
        .inner_margin(Margin::same(10));
    frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        let mut changed = spool.clone();
        let mut done = false;
        ui.horizontal(|ui| {
            ui.label(format!("{}", index + 1));
            colour(ui, &mut changed, &mut done);
            // The sign to remove it stands behind.
            let room = ui.available_width() - 38.0;
            let field = TextEdit::singleline(&mut changed.name).desired_width(room);
            done |= ui
                .add(field)
                .on_hover_text("The spool's name.")
                .lost_focus();
            let can = session.can_remove_spool(index);
            let gone = ui.add_enabled_ui(can, |ui| {
                let name = format!("Remove spool {}", index + 1);
                let hint = "Take this spool out. Only a spool that no blend uses can go.";
                small_icon(ui, Icon::Close, &name, hint, false).clicked()
            });
            if gone.inner {
                session.remove_spool(index);
            }
        });
        how_known(ui, session, index, spool);
        measured(ui, &mut changed, &mut done);
        ui.horizontal(|ui| {
            let density = DragValue::new(&mut changed.density_g_cm3)
                .range(0.1..=10.0)
                .speed(0.01)
                .suffix(" g/cm³");
            let one = ui
                .add(density)
                .on_hover_text("Density, from the maker's data sheet.");
            let diameter = DragValue::new(&mut changed.diameter_mm)
                .range(0.5..=4.0)
                .speed(0.01)
                .suffix(" mm");
            let other = ui
                .add(diameter)
                .on_hover_text("Diameter of the filament, mm: measure it in several places.");
            for response in [one, other] {
                done |= response.drag_stopped() || response.lost_focus();
            }
        });
        if let Some(use_of) = session.summary.spool(index) {
            note(
                ui,
                format!(
                    "This part takes {} ({:.2} m)",
                    widgets::grams(use_of.mass_g),
                    use_of.length_m
                ),
            );
        }
        if changed != *spool || done {
            session.set_spool(index, changed, done);
        }
    });
}

fn colour(ui: &mut Ui, spool: &mut Spool, done: &mut bool) {
    let mut code = spool.xyz().to_srgb().0;
    let response = ui
        .color_edit_button_srgb(&mut code)
        .on_hover_text("The spool's colour when it is printed alone. A measured colour is better.");
    if response.changed() {
        spool.colour = SpoolColour::Hex(Srgb(code));
        *done = !response.is_pointer_button_down_on();
    }
}

/// The measured colour, if there is one.
fn measured(ui: &mut Ui, spool: &mut Spool, done: &mut bool) {
    ui.horizontal(|ui| {
        let mut is_measured = matches!(spool.colour, SpoolColour::Lab(_));
        let tick = ui
            .checkbox(&mut is_measured, "Measured")
            .on_hover_text("Give the colour as CIELAB (D65, 2°), read by an instrument from a print of this spool alone.");
        if tick.changed() {
            let xyz = spool.xyz();
            spool.colour = match is_measured {
                true => SpoolColour::Lab(xyz.to_lab()),
                false => SpoolColour::Hex(xyz.to_srgb()),
            };
            *done = true;
        }
        if let SpoolColour::Lab(lab) = &mut spool.colour {
            for (value, range, name) in [
                (&mut lab.l, 0.0..=100.0, "L*"),
                (&mut lab.a, -128.0..=128.0, "a*"),
                (&mut lab.b, -128.0..=128.0, "b*"),
            ] {
                let number = DragValue::new(value).range(range).speed(0.1).max_decimals(1);
                let response = ui.add(number).on_hover_text(name);
                *done |= response.drag_stopped() || response.lost_focus();
            }
        }
    });
}
