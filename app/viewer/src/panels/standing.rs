//! The unit of the mesh and its upright axis: on the part's page, and offered where the part's size
//! is unlikely.

use egui::{ComboBox, Ui};
use geometry::place::{Axis, Placement, Unit};
use geometry::read::LIKELY_MM;

use super::widgets::{self, main_button, note, warning};
use crate::commands::{Command, Commands};
use crate::model::page::Drawer;
use crate::session::Session;

/// Units as they are written on a button.
fn unit_name(unit: Unit) -> &'static str {
    match unit {
        Unit::Micron => "Microns",
        Unit::Millimetre => "Millimetres",
        Unit::Centimetre => "Centimetres",
        Unit::Metre => "Metres",
        Unit::Inch => "Inches",
        Unit::Foot => "Feet",
    }
}

fn place_of(session: &Session) -> Option<Placement> {
    let doc = session.doc.as_ref()?;
    Some(doc.plan().mesh.place.clone())
}

/// Offers the units in which the part would have a likely size.
pub(super) fn offer(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let (Some(place), Some(longest)) = (place_of(session), session.longest_side_mm()) else {
        return;
    };
    let (low, high) = (*LIKELY_MM.start(), *LIKELY_MM.end());
    ui.horizontal_wrapped(|ui| {
        warning(
            ui,
            format!(
                "The file does not say its unit. In millimetres, the part is {} mm long, and most \
                 parts are {low} to {high} mm. What is its unit?",
                length(longest)
            ),
        );
        for likely in session.likely_units() {
            let text = format!(
                "{}: {} mm",
                unit_name(likely.unit),
                length(likely.longest_mm)
            );
            if main_button(ui, &text, true).clicked() {
                send.send(Command::Stand(Placement {
                    unit: Some(likely.unit),
                    ..place.clone()
                }));
            }
        }
        if ui.button("Keep millimetres").clicked() {
            send.send(Command::KeepUnit);
        }
        let more = ui.button("More units");
        if more.on_hover_text("Show the part's page.").clicked() {
            send.send(Command::ShowDrawer(Drawer::Part));
        }
    });
}

/// A length with as many digits as say something.
fn length(mm: f64) -> String {
    match mm < 1.0 {
        true => report::amount::amount(mm),
        false => widgets::mm(mm),
    }
}

/// Shows the unit and the upright axis.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(before) = place_of(session) else {
        return;
    };
    if !session.can(&Command::Stand(before.clone())) {
        return;
    }
    let mut place = before.clone();
    ui.horizontal_wrapped(|ui| {
        unit(ui, &mut place);
        axis(ui, &mut place);
    });
    let regions = session.doc.as_ref().map_or(0, |d| d.plan().regions.len());
    if regions > 1 {
        note(
            ui,
            "Regions stay at their coordinates when the unit or the axis changes.",
        );
    }
    if place != before {
        send.send(Command::Stand(place));
    }
}

fn unit(ui: &mut Ui, place: &mut Placement) {
    let label = ui.label("Unit");
    let of_file = "As the file says";
    ComboBox::from_id_salt("unit of the mesh")
        .width(120.0)
        .selected_text(place.unit.map_or(of_file, unit_name))
        .show_ui(ui, |ui| {
            ui.selectable_value(&mut place.unit, None, of_file);
            for unit in Unit::ALL {
                ui.selectable_value(&mut place.unit, Some(unit), unit_name(unit));
            }
        })
        .response
        .labelled_by(label.id)
        .on_hover_text(
            "The unit of the mesh file's numbers. A file that does not say counts as millimetres.",
        );
}

fn axis(ui: &mut Ui, place: &mut Placement) {
    let label = ui.label("Axis up");
    ComboBox::from_id_salt("upright axis of the mesh")
        .width(52.0)
        .selected_text(place.up.name())
        .show_ui(ui, |ui| {
            for axis in Axis::ALL {
                ui.selectable_value(&mut place.up, axis, axis.name());
            }
        })
        .response
        .labelled_by(label.id)
        .on_hover_text("The axis of the mesh file that points up on the printer.");
}
