//! The spools: names, colours, density and diameter, and what the part takes of each.

use blend::{MAX_COMPONENTS, Shares, Spool, SpoolColour, Srgb};
use egui::{Frame, Margin, Stroke, TextEdit, Ui, WidgetType};
use plan::Edit;

use super::icon::Icon;
use super::widgets::{self, Number, Turned, heading, note, small_icon};
use crate::commands::{Command, Commands};
use crate::model::page::Page;
use crate::session::Session;
use crate::theme::Palette;

/// Shows the spools.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let (spools, file) = (&doc.plan().spools.list, doc.plan().spools.file.as_deref());
    heading(ui, "Spools");
    note(ui, "In the order of the hotend's inlets.");
    from_where(ui, session, file, send);
    ui.add_enabled_ui(file.is_none(), |ui| {
        for (index, spool) in spools.iter().enumerate() {
            one(ui, session, index, spool, send);
        }
    });
    ui.add_space(4.0);
    let room = file.is_none() && spools.len() < MAX_COMPONENTS;
    let add = ui.add_enabled(room, egui::Button::new("+ Spool"));
    if add
        .on_hover_text("Add a spool. Every blend has 0 % of it at first.")
        .clicked()
    {
        send.send(Command::AddSpool);
    }
}

/// Where the spools come from, and how they can be had from elsewhere.
fn from_where(ui: &mut Ui, session: &Session, file: Option<&str>, send: &mut Commands) {
    if let Some(file) = file {
        let label = egui::Label::new(format!("They are in {file}"));
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
                format!(
                    "Fitted to {steps} measured steps; expect blends within about ΔE00 {rms:.1}."
                )
            }
            None => "Blends are estimated from the spools' own colours. Measure a test print for \
                     better predictions."
                .to_owned(),
        },
    );
    ui.horizontal_wrapped(|ui| {
        let read = ui.button("From a file…");
        if read
            .on_hover_text("Take spools from a file, or fit them to the readings of a test print.")
            .clicked()
        {
            send.send(Command::AskSpoolFile);
        }
        if figures.is_some() {
            let steps = ui.button("Measured steps…");
            if steps
                .on_hover_text("Each step of the test print, predicted and measured.")
                .clicked()
            {
                send.send(Command::ShowPage(Page::Steps));
            }
        }
        if file.is_some() {
            let own = ui.button("Change here");
            if own
                .on_hover_text(
                    "Copy the spools into the plan, to change them. Their measured \
                                blends are then no longer used.",
                )
                .clicked()
            {
                send.send(Command::OwnSpools);
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

/// What was done to a spool.
#[derive(Default)]
struct Done {
    changed: bool,
    let_go: bool,
}

impl Done {
    fn take(&mut self, turned: Turned, value: &mut f64) {
        if let Some(to) = turned.to {
            *value = to;
            self.changed = true;
        }
        self.let_go |= turned.done;
    }
}

fn one(ui: &mut Ui, session: &Session, index: usize, spool: &Spool, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    let frame = Frame::new()
        .fill(p.raised)
        .stroke(Stroke::new(1.0, p.line))
        .corner_radius(6)
        .inner_margin(Margin::same(10));
    frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        let mut to = spool.clone();
        let mut done = Done::default();
        head(ui, session, index, &mut to, &mut done, send);
        how_known(ui, session, index, spool);
        measured(ui, &mut to, &mut done);
        filament(ui, &mut to, &mut done);
        if let Some(use_of) = session.summary.spool(index) {
            let grams = widgets::grams(use_of.mass_g);
            let text = format!("This part takes {grams} ({:.2} m)", use_of.length_m);
            note(ui, text);
        }
        if done.changed {
            send.send(Command::EditOn(Box::new(Edit::SetSpool {
                spool: index,
                to,
            })));
        }
        if done.let_go {
            send.send(Command::EditDone);
        }
    });
}

/// Its place, colour and name, and the sign to remove it.
fn head(
    ui: &mut Ui,
    session: &Session,
    index: usize,
    to: &mut Spool,
    done: &mut Done,
    send: &mut Commands,
) {
    ui.horizontal(|ui| {
        ui.label(format!("{}", index + 1));
        colour(ui, index, to, done);
        // The sign to remove it stands behind.
        code(ui, index, to, done);
        let room = (ui.available_width() - 38.0).max(60.0);
        let field = TextEdit::singleline(&mut to.name).desired_width(room);
        let response = ui.add(field);
        let name = format!("Name of spool {}", index + 1);
        widgets::named(&response, WidgetType::TextEdit, &name);
        done.changed |= response.changed();
        done.let_go |= response.lost_focus();
        response.on_hover_text("The spool's name.");
        let can = session.can_remove_spool(index);
        let gone = ui.add_enabled_ui(can, |ui| {
            let name = format!("Remove spool {}", index + 1);
            let hint = "Remove this spool. Only a spool that no blend uses can be removed.";
            small_icon(ui, Icon::Close, &name, hint, false).clicked()
        });
        if gone.inner {
            send.edit(Edit::RemoveSpool { spool: index });
        }
    });
}

fn colour(ui: &mut Ui, index: usize, spool: &mut Spool, done: &mut Done) {
    let before = spool.xyz().to_srgb();
    let mut code = before.0;
    let response = ui
        .color_edit_button_srgb(&mut code)
        .on_hover_text("The spool's colour when it is printed alone. A measured colour is better.");
    let name = format!("Colour of spool {}", index + 1);
    widgets::named(&response, WidgetType::ColorButton, &name);
    // Showing a colour may round it; only a person's choice is another one.
    if response.changed() && Srgb(code) != before {
        spool.colour = SpoolColour::Hex(Srgb(code));
        done.changed = true;
        done.let_go |= !ui.input(|i| i.pointer.any_down());
    }
}

/// The colour as a code to be typed: taken when the field is left, and only if it is one.
fn code(ui: &mut Ui, index: usize, spool: &mut Spool, done: &mut Done) {
    let before = spool.xyz().to_srgb();
    let id = egui::Id::new(("code of spool", index));
    let typed: Option<String> = ui.data(|d| d.get_temp(id));
    let mut text = typed.unwrap_or_else(|| before.to_string());
    let field = TextEdit::singleline(&mut text)
        .id(id.with("field"))
        .desired_width(64.0);
    let response = ui.add(field);
    let name = format!("Colour code of spool {}", index + 1);
    widgets::named(&response, WidgetType::TextEdit, &name);
    if response.changed() {
        ui.data_mut(|d| d.insert_temp(id, text.clone()));
    }
    if response.lost_focus() {
        ui.data_mut(|d| d.remove::<String>(id));
        if let Ok(colour) = text.trim().parse::<Srgb>()
            && colour != before
        {
            spool.colour = SpoolColour::Hex(colour);
            done.changed = true;
            done.let_go = true;
        }
    }
    response.on_hover_text("The spool's colour as six hexadecimal digits.");
}

/// The measured colour, if there is one.
fn measured(ui: &mut Ui, spool: &mut Spool, done: &mut Done) {
    const HINT: &str = "Give the colour as CIELAB (D65, 2°), measured with an instrument on a \
                        print of this spool alone.";
    ui.horizontal(|ui| {
        let mut is_measured = matches!(spool.colour, SpoolColour::Lab(_));
        let tick = ui.checkbox(&mut is_measured, "Measured");
        if tick.on_hover_text(HINT).changed() {
            let xyz = spool.xyz();
            spool.colour = match is_measured {
                true => SpoolColour::Lab(xyz.to_lab()),
                false => SpoolColour::Hex(xyz.to_srgb()),
            };
            *done = Done {
                changed: true,
                let_go: true,
            };
        }
        let SpoolColour::Lab(lab) = &mut spool.colour else {
            return;
        };
        for (value, range, name) in [
            (&mut lab.l, (0.0, 100.0), "L*"),
            (&mut lab.a, (-128.0, 128.0), "a*"),
            (&mut lab.b, (-128.0, 128.0), "b*"),
        ] {
            let number = Number {
                range,
                speed: 0.1,
                decimals: 1,
                unit: "",
                width: None,
            };
            let turned = number.show(ui, name, name, *value);
            done.take(turned, value);
        }
    });
}

fn filament(ui: &mut Ui, spool: &mut Spool, done: &mut Done) {
    ui.horizontal(|ui| {
        let density = Number {
            range: (0.1, 10.0),
            speed: 0.01,
            decimals: 3,
            unit: " g/cm³",
            width: None,
        };
        let hint = "Density, from the maker's data sheet.";
        let turned = density.show(ui, "Density", hint, spool.density_g_cm3);
        done.take(turned, &mut spool.density_g_cm3);
        let diameter = Number {
            range: (0.5, 4.0),
            speed: 0.01,
            decimals: 3,
            unit: " mm",
            width: None,
        };
        let hint = "Diameter of the filament, mm: measure it in several places.";
        let turned = diameter.show(ui, "Diameter", hint, spool.diameter_mm);
        done.take(turned, &mut spool.diameter_mm);
    });
}
