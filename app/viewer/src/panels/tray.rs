//! The tray under the part: the tools, what the one in use needs, and what it does next.

use egui::{Align, Label, Layout, RichText, Ui, WidgetType};

use super::icon::Icon;
use super::shortcuts;
use super::widgets::{self, Number, icon_toggle, note, swatch};
use crate::commands::{Command, Commands};
use crate::model::mirror::{Mirror, TIMES_RANGE};
use crate::model::tool::{BRUSH_RANGE_MM, CREASE_RANGE_DEG, FLAT_RANGE_DEG, FillBy, Tool};
use crate::session::{Session, Told};
use crate::theme::Palette;

/// With less room than this, no advice is begun, points.
const LEAST_ADVICE: f32 = 60.0;

/// What running work takes at the right, points; what is left goes to the tool's settings.
const WORK: f32 = 230.0;

/// The least room for settings beside running work, points; with less they take another row.
const LEAST_SETTINGS: f32 = 330.0;

/// Shows the tray.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let busy = session.busy_with();
    // Decided by the window's width alone, so that nothing jumps when work begins or ends.
    let beside = ui.available_width() >= TOOLS + LEAST_SETTINGS + WORK;
    ui.horizontal(|ui| {
        tools(ui, session, send);
        ui.separator();
        if beside {
            settings(ui, session, send);
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| match &busy {
            Some(told) => work(ui, told, send),
            None => advice(ui, session),
        });
    });
    if !beside && session.tools.tool.paints() {
        ui.horizontal(|ui| settings(ui, session, send));
    }
}

/// What the tools take, points.
const TOOLS: f32 = 363.0;

fn tools(ui: &mut Ui, session: &Session, send: &mut Commands) {
    for tool in Tool::ALL {
        let command = Command::Take(tool);
        let on = session.tools.tool == tool;
        let hint = shortcuts::hint(&command);
        if icon_toggle(ui, icon_of(tool), tool.name(), &hint, on).clicked() {
            send.send(command);
        }
    }
}

fn icon_of(tool: Tool) -> Icon {
    match tool {
        Tool::Turn => Icon::Turn,
        Tool::Brush => Icon::Brush,
        Tool::Erase => Icon::Erase,
        Tool::Straight => Icon::Straight,
        Tool::Fill => Icon::Fill,
        Tool::Box => Icon::Box,
        Tool::Lasso => Icon::Lasso,
        Tool::Band => Icon::Band,
        Tool::Pick => Icon::Pick,
        Tool::Measure => Icon::Measure,
        Tool::Place => Icon::Place,
    }
}

fn advice(ui: &mut Ui, session: &Session) {
    let begun = session.tools.has_begun();
    let advice = session.tools.tool.advice(begun);
    // What is left of it shows when the pointer is on it.
    if ui.available_width() > LEAST_ADVICE {
        let quiet = Palette::from_ui(ui).quiet;
        let text = RichText::new(advice).small().color(quiet);
        ui.add(Label::new(text).truncate());
    }
}

fn settings(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let tool = session.tools.tool;
    if tool.has_radius() {
        let (low, high) = BRUSH_RANGE_MM;
        ui.label("Radius");
        let hint = "Radius of the brush on the part, mm.  (, and .)";
        let radius = Number {
            range: (low, high),
            speed: 0.1,
            decimals: 1,
            unit: " mm",
            width: Some(72.0),
        };
        radius
            .show(ui, "Radius of the brush", hint, session.tools.brush_mm)
            .set(send, Command::BrushRadius);
    }
    if tool == Tool::Fill {
        fill(ui, session, send);
    }
    if tool.outlines() {
        outline(ui, session, send);
    }
    if tool.paints() {
        mirror(ui, session, send);
    }
    let takes_off = tool == Tool::Erase || (tool.outlines() && session.tools.takes_off);
    if tool.paints() && !takes_off {
        ui.separator();
        target(ui, session, send);
    }
}

/// What ends a fill.
fn fill(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let tools = &session.tools;
    let choice = egui::ComboBox::from_id_salt("fill by")
        .selected_text(tools.fill_by.name())
        .width(112.0)
        .show_ui(ui, |ui| {
            for what in FillBy::ALL {
                let row = ui.selectable_label(tools.fill_by == what, what.name());
                if row.on_hover_text(what.hint()).clicked() {
                    send.send(Command::FillBy(what));
                }
            }
        });
    widgets::named(&choice.response, WidgetType::ComboBox, "What ends a fill");
    choice
        .response
        .on_hover_text(shortcuts::hint(&Command::NextFill));
    let angle = |range, decimals| Number {
        range,
        speed: 0.5,
        decimals,
        unit: "°",
        width: Some(56.0),
    };
    match tools.fill_by {
        FillBy::Creases => {
            let hint = "The fill stops at edges sharper than this angle between two facets.";
            angle(CREASE_RANGE_DEG, 0)
                .show(ui, "Up to creases of", hint, tools.crease_deg)
                .set(send, Command::Crease);
        }
        FillBy::Flatness => {
            let hint = "The fill stops where the skin has turned away by more than this angle.";
            angle(FLAT_RANGE_DEG, 1)
                .show(ui, "Turned away by", hint, tools.flat_deg)
                .set(send, Command::Flatness);
        }
        FillBy::Blend => {}
    }
}

/// What an outline does.
fn outline(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let tools = &session.tools;
    let mut choose = |ui: &mut Ui, names: [&str; 2], second: bool, command: Command| {
        ui.scope(|ui| {
            ui.spacing_mut().item_spacing.x = 2.0;
            for (name, on) in names.into_iter().zip([!second, second]) {
                let hint = shortcuts::hint(&command);
                let row = ui.selectable_label(on, name).on_hover_text(hint);
                if row.clicked() && !on {
                    send.send(command.clone());
                }
            }
        });
    };
    choose(
        ui,
        ["Front only", "Through"],
        tools.through,
        Command::Through,
    );
    ui.separator();
    choose(ui, ["Add", "Take off"], tools.takes_off, Command::TakeOff);
}

fn mirror(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let on = session.tools.mirror != Mirror::Off;
    let hint = shortcuts::hint(&Command::NextMirror);
    if icon_toggle(ui, Icon::Mirror, "Mirror", &hint, on).clicked() {
        send.send(Command::NextMirror);
    }
    if let Mirror::Around(times) = session.tools.mirror {
        let (low, high) = TIMES_RANGE;
        let number = Number {
            range: (f64::from(low), f64::from(high)),
            speed: 0.05,
            decimals: 0,
            unit: "",
            width: Some(36.0),
        };
        let hint = "How often the stroke is repeated round the part's upright axis.";
        number
            .show(ui, "Times round the part", hint, f64::from(times))
            .set(send, |times| Command::Mirror(Mirror::around(times)));
        note(ui, "times round");
    } else if on {
        note(ui, session.tools.mirror.name());
    }
}

/// Where the paint goes.
fn target(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let (name, shares) = session.paint_target();
    swatch(ui, session.colour_of(&shares), egui::vec2(18.0, 18.0));
    let Some(name) = name else {
        ui.label("into a new area");
        return;
    };
    let again = ui
        .button("New area")
        .on_hover_text(shortcuts::hint(&Command::NewArea));
    if again.clicked() {
        send.send(Command::NewArea);
    }
    let room = (ui.available_width() - WORK).clamp(60.0, 160.0);
    ui.scope(|ui| {
        ui.set_max_width(room);
        ui.add(Label::new(format!("into {name}")).truncate());
    });
}

/// Work that is going on, in a place of its own.
fn work(ui: &mut Ui, (title, stage, fraction): &Told, send: &mut Commands) {
    let cancel = widgets::small_icon(ui, Icon::Close, "Cancel", "Cancel this work.", false);
    if cancel.clicked() {
        send.send(Command::CancelWork);
    }
    // What has no room for words says them when the pointer is on it.
    let room = ui.available_width();
    let bar = egui::ProgressBar::new(*fraction)
        .desired_width((room - 8.0).clamp(16.0, 80.0))
        .desired_height(10.0);
    let text = match stage.is_empty() {
        true => title,
        false => stage,
    };
    ui.add(bar).on_hover_text(format!("{title}\n{stage}"));
    if ui.available_width() < LEAST_ADVICE {
        return;
    }
    let quiet = Palette::from_ui(ui).quiet;
    ui.scope(|ui| {
        ui.set_max_width((WORK - 130.0).min(ui.available_width()));
        let text = RichText::new(text).small().color(quiet);
        ui.add(Label::new(text).truncate());
    });
}
