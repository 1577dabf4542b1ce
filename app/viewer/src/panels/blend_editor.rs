//! The blend editor: each spool's share by slider and by number, held shares, the colour of
//! the blend beside the spools', and the blend that comes closest to a wanted colour.

use blend::{Shares, Srgb};
use egui::{RichText, TextEdit, Ui, WidgetType, vec2};
use plan::Paint;

use super::icon::Icon;
use super::widgets::{self, Number, heading, note, small_icon, swatch};
use crate::commands::{Command, Commands};
use crate::model::chosen::Wanted;
use crate::session::Session;

/// Shows the editor for the chosen region's blend, or its fade's chosen stop.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(shares) = session.edited_blend() else {
        return;
    };
    let locked = session.chosen_region().is_some_and(|r| r.locked);
    ui.add_space(4.0);
    let top = ui.cursor().min;
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
        components(ui, session, &shares, send);
        show_chosen(ui, session, top);
        ui.add_space(6.0);
        named(ui, session, send);
        ui.add_space(6.0);
        closest(ui, session, send);
    });
}

/// Scrolls to the blend of a stop that has just been chosen: under a long fade it lies below.
fn show_chosen(ui: &Ui, session: &Session, top: egui::Pos2) {
    let id = egui::Id::new("stop whose blend was shown");
    let now = (session.chosen.region, session.chosen.stop);
    let before: Option<(Option<usize>, Option<usize>)> = ui.data(|d| d.get_temp(id));
    ui.data_mut(|d| d.insert_temp(id, now));
    if now.1.is_some() && before.is_some_and(|before| before != now) {
        let shown = egui::Rect::from_two_pos(top, ui.min_rect().right_bottom());
        ui.scroll_to_rect(shown, None);
    }
}

/// The blend's colour, with its numbers.
fn result(ui: &mut Ui, session: &Session, shares: &Shares) {
    let Some(model) = session.model() else { return };
    let xyz = model.mix(shares);
    let (lab, srgb) = (xyz.to_lab(), xyz.to_srgb());
    ui.horizontal(|ui| {
        swatch(ui, srgb, vec2(74.0, 44.0))
            .on_hover_text("The predicted colour of this blend, in thick plastic.");
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.y = 2.0;
            ui.label(RichText::new(srgb.to_string()).monospace());
            note(
                ui,
                format!("L* {:.1}   a* {:.1}   b* {:.1}", lab.l, lab.a, lab.b),
            );
            if let Some(uncertainty) = model.uncertainty(shares) {
                note(ui, format!("± ΔE00 {uncertainty:.1}"));
            }
        });
    });
}

/// The room that a spool's name takes, points.
const NAME: f32 = 74.0;

/// The room that a share's number and its lock take, points.
const NUMBER: f32 = 110.0;

fn components(ui: &mut Ui, session: &Session, shares: &Shares, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let step = doc.plan().machine.share_step;
    for (component, spool) in doc.plan().spools.iter().enumerate() {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            swatch(ui, spool.xyz().to_srgb(), vec2(16.0, 16.0));
            let left = egui::Layout::left_to_right(egui::Align::Center);
            ui.allocate_ui_with_layout(vec2(NAME, 22.0), left, |ui| {
                ui.set_min_width(NAME);
                let label = egui::Label::new(spool.name.as_str()).truncate();
                ui.add(label).on_hover_text(&spool.name);
            });
            share(ui, session, shares, component, &spool.name, send);
            hold(ui, session, component, &spool.name, send);
        });
    }
    ui.horizontal(|ui| {
        let mut free = session.free_shares;
        let hint = format!(
            "The machine sets shares in steps of {}. Tick this to type finer shares; they are \
             rounded when you prepare the part.",
            widgets::percent(step)
        );
        let tick = ui.checkbox(&mut free, "Finer than the machine sets");
        if tick.on_hover_text(hint).changed() {
            send.send(Command::FreeShares(free));
        }
    });
}

fn is_held(session: &Session, component: usize) -> bool {
    let held = session.chosen.held.get(component).copied();
    held.unwrap_or_default()
}

fn share(
    ui: &mut Ui,
    session: &Session,
    shares: &Shares,
    component: usize,
    name: &str,
    send: &mut Commands,
) {
    let now = shares.as_slice().get(component).copied();
    let percent = now.unwrap_or_default() * 100.0;
    let machine = session.doc.as_ref().map(|d| &d.plan().machine);
    let step = match session.free_shares {
        true => 0.0,
        false => machine.map_or(0.0, |m| m.share_step * 100.0),
    };
    let hint = format!("Share of {name} by volume, %.");
    let turned = ui.add_enabled_ui(!is_held(session, component), |ui| {
        ui.spacing_mut().slider_width = (ui.available_width() - NUMBER).max(60.0);
        let range = (0.0, 100.0);
        let slid = widgets::slider(
            ui,
            &format!("{name} by slider"),
            &hint,
            percent,
            range,
            step,
        );
        let number = Number {
            range,
            speed: 0.5,
            decimals: 1,
            unit: " %",
            width: Some(60.0),
        };
        let typed = number.show(ui, &format!("{name} in percent"), &hint, percent);
        slid.or(typed)
    });
    turned.inner.send(send, |percent| Command::SetShare {
        component,
        share: percent / 100.0,
    });
}

fn hold(ui: &mut Ui, session: &Session, component: usize, name: &str, send: &mut Commands) {
    let held = is_held(session, component);
    let (icon, label) = match held {
        true => (Icon::Locked, format!("Unlock the share of {name}")),
        false => (Icon::Unlocked, format!("Lock the share of {name}")),
    };
    let hint = "Lock this share while the others change.";
    if small_icon(ui, icon, &label, hint, held).clicked() {
        send.send(Command::HoldShare(component));
    }
}

/// The plan's named blends, and whether the region has one of them.
fn named(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let paint = session.chosen_region().map(|r| &r.paint);
    let own = match paint {
        Some(Paint::Blend(named)) => Some(named.name.as_str()),
        _ => None,
    };
    let one_blend = paint.is_some_and(|p| p.one_blend().is_some());
    ui.label(RichText::new("Named blends").strong());
    for (i, blend) in session.named_blends().iter().enumerate() {
        ui.horizontal(|ui| {
            swatch(ui, session.colour_of(&blend.shares), vec2(24.0, 20.0))
                .on_hover_text(blend.shares.to_string());
            name(ui, i, &blend.name, send);
            let used = own == Some(blend.name.as_str());
            let hint = "Use this blend in the region. If you change the blend, all regions with it \
                        change.";
            let button = egui::Button::selectable(used, if used { "Used" } else { "Use" });
            let clicked = ui
                .add_enabled(one_blend, button)
                .on_hover_text(hint)
                .clicked();
            if clicked && !used {
                send.send(Command::UseBlend(blend.name.clone()));
            }
            let label = format!("Remove {}", blend.name);
            let hint = "Remove the blend from the list. Regions with it keep its shares.";
            if small_icon(ui, Icon::Delete, &label, hint, false).clicked() {
                send.send(Command::DropBlend(blend.name.clone()));
            }
        });
    }
    ui.horizontal(|ui| {
        let hint = "Store this blend in the list under a name, and use it in the region.";
        let stores = own.is_none();
        if ui
            .add_enabled(stores, egui::Button::new("Store this blend"))
            .on_hover_text(hint)
            .clicked()
        {
            send.send(Command::NameBlend);
        }
        let hint = "Give the region its own blend, which no longer changes with the named one.";
        if own.is_some() && ui.button("Detach").on_hover_text(hint).clicked() {
            send.send(Command::OwnBlend);
        }
    });
}

/// A blend's name, to be changed: taken when the field is left.
fn name(ui: &mut Ui, index: usize, now: &str, send: &mut Commands) {
    let id = egui::Id::new(("name of blend", index));
    let typed: Option<String> = ui.data(|d| d.get_temp(id));
    let mut text = typed.unwrap_or_else(|| now.to_owned());
    let field = TextEdit::singleline(&mut text)
        .desired_width(96.0)
        .id(id.with("field"));
    let response = ui.add(field).on_hover_text("The blend's name.");
    let called = format!("Name of {now}");
    widgets::named(&response, WidgetType::TextEdit, &called);
    if response.changed() {
        ui.data_mut(|d| d.insert_temp(id, text.clone()));
    }
    if response.lost_focus() {
        ui.data_mut(|d| d.remove::<String>(id));
        if text.trim() != now {
            send.send(Command::RenameBlend {
                from: now.to_owned(),
                to: text,
            });
        }
    }
}

/// A wanted colour, and the blend that comes closest to it.
fn closest(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.label(RichText::new("Closest blend to a colour").strong());
    ui.horizontal(|ui| {
        let mut colour = session.wanted.colour.0;
        let picked = ui.color_edit_button_srgb(&mut colour);
        widgets::named(&picked, WidgetType::ColorButton, "Wanted colour");
        if picked.on_hover_text("The colour that you want.").changed()
            && Srgb(colour) != session.wanted.colour
        {
            send.send(Command::Want(Wanted::colour(Srgb(colour))));
        }
        let mut text = session.wanted.text.clone();
        let field = TextEdit::singleline(&mut text)
            .desired_width(74.0)
            .hint_text("#1f6f8b");
        let typed = ui.add(field);
        widgets::named(&typed, WidgetType::TextEdit, "Wanted colour's code");
        if typed
            .on_hover_text("The colour that you want, as six hexadecimal digits.")
            .changed()
        {
            send.send(Command::Want(session.wanted.clone().typed(text)));
        }
        let Some(best) = session.closest_blend() else {
            return;
        };
        swatch(ui, session.colour_of(&best.shares), vec2(24.0, 20.0))
            .on_hover_text("The closest blend of these spools.");
        ui.label(format!("ΔE00 {:.1}", best.delta_e00))
            .on_hover_text(format!(
                "How far the closest blend is from the colour that you want; \
                                    you can see 1 side by side. {}",
                best.why
            ));
        if ui.button("Use").on_hover_text("Use this blend.").clicked() {
            send.send(Command::SetBlend(best.shares));
        }
    });
}
