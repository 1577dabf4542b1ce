//! The tray under the part: the tools, what the one in the hand needs, and what it does next.

use egui::{Align, DragValue, Label, Layout, RichText, Slider, Ui};

use super::icon::Icon;
use super::widgets::{self, icon_toggle, note, swatch};
use crate::actions::{self, Action};
use crate::paint::Mirror;
use crate::state::Session;
use crate::state::hand::{BRUSH_RANGE_MM, Tool};
use crate::theme::Palette;

/// With less room than this, no advice is begun, points.
const LEAST_ADVICE: f32 = 60.0;

/// Shows the tray.
pub fn show(ui: &mut Ui, session: &mut Session) {
    ui.horizontal(|ui| {
        for tool in Tool::ALL {
            let action = Action::Take(tool);
            let on = session.hand.tool == tool;
            let hint = actions::hint(action);
            if icon_toggle(ui, tool.icon(), tool.name(), &hint, on).clicked() {
                session.act(action);
            }
        }
        ui.separator();
        settings(ui, session);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if let Some((title, stage, fraction)) = session.busy_with() {
                work(ui, session, &title, &stage, fraction);
            } else {
                let begun = session.hand.has_begun();
                let advice = session.hand.tool.advice(begun);
                // What is left of it shows when the pointer is on it.
                if ui.available_width() > LEAST_ADVICE {
                    let quiet = Palette::from_ui(ui).quiet;
                    let text = RichText::new(advice).small().color(quiet);
                    ui.add(Label::new(text).truncate());
                }
            }
        });
    });
}

fn settings(ui: &mut Ui, session: &mut Session) {
    let tool = session.hand.tool;
    if tool.has_radius() {
        let mut radius = session.hand.brush_mm;
        ui.label("Radius");
        let (low, high) = BRUSH_RANGE_MM;
        let slider = Slider::new(&mut radius, low..=high.min(40.0))
            .logarithmic(true)
            .max_decimals(1)
            .suffix(" mm");
        let response = ui.add(slider);
        if response
            .on_hover_text("Radius of the brush on the part, mm.  (, and .)")
            .changed()
        {
            session.hand.set_brush_mm(radius);
        }
    }
    if tool == Tool::Grow {
        ui.label("Up to creases of");
        let angle = DragValue::new(&mut session.hand.crease_deg)
            .range(1.0..=180.0)
            .suffix("°")
            .speed(0.5);
        ui.add(angle)
            .on_hover_text("The fill stops at edges sharper than this angle between two facets.");
    }
    if tool.has_radius() || tool == Tool::Grow {
        mirror(ui, session);
    }
    if matches!(tool, Tool::Brush | Tool::Straight | Tool::Grow) {
        ui.separator();
        target(ui, session);
    }
}

fn mirror(ui: &mut Ui, session: &mut Session) {
    let on = session.hand.mirror != Mirror::Off;
    let hint = actions::hint(Action::NextMirror);
    if icon_toggle(ui, Icon::Mirror, "Mirror", &hint, on).clicked() {
        session.act(Action::NextMirror);
    }
    if on {
        note(ui, session.hand.mirror.name());
    }
}

/// Where the paint goes.
fn target(ui: &mut Ui, session: &mut Session) {
    let (name, shares) = session.paint_target();
    let colour = session.colour_of(&shares);
    swatch(ui, colour, egui::vec2(18.0, 18.0));
    match name {
        Some(name) => {
            let text = RichText::new(format!("into {name}"));
            ui.add(egui::Label::new(text).truncate());
            let again = ui
                .button("New area")
                .on_hover_text(actions::hint(Action::NewArea));
            if again.clicked() {
                session.act(Action::NewArea);
            }
        }
        None => {
            ui.label("into a new area");
        }
    }
}

fn work(ui: &mut Ui, session: &mut Session, title: &str, stage: &str, fraction: f32) {
    let cancel = widgets::small_icon(ui, Icon::Close, "Cancel", "Stop this work.", false);
    if cancel.clicked() {
        session.cancel_work();
    }
    let text = match stage.is_empty() {
        true => title.to_owned(),
        false => stage.to_owned(),
    };
    let bar = egui::ProgressBar::new(fraction)
        .desired_width(110.0)
        .desired_height(10.0);
    ui.add(bar).on_hover_text(title);
    note(ui, text);
}
