//! The strip of the section plane: its direction, its place, its side, and what its face shows.

use egui::{ComboBox, Ui};
use geometry::DVec3;

use super::icon::Icon;
use super::shortcuts;
use super::widgets::{self, Number, note, small_icon, warning};
use crate::commands::{Command, Commands, Cutting};
use crate::model::section::Across;
use crate::session::Session;

/// Shows the strip.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    ui.horizontal_wrapped(|ui| {
        direction(ui, session, send);
        place(ui, session, send);
        let flip = Command::Section(Cutting::Flip);
        let hint = shortcuts::hint(&flip);
        let on = session.view.section.flipped;
        if small_icon(ui, Icon::Flip, "Other side of the cut", &hint, on).clicked() {
            send.send(flip);
        }
        let hint = shortcuts::hint(&Command::Cut);
        if small_icon(ui, Icon::Close, "Close the cut", &hint, false).clicked() {
            send.send(Command::Cut);
        }
        if !matches!(
            session.view.section.across,
            Across::Height | Across::X | Across::Y
        ) {
            typed(ui, session, send);
        }
    });
    told(ui, session);
}

fn direction(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let section = &session.view.section;
    let label = ui.label("Cut");
    ComboBox::from_id_salt("direction of the cut")
        .width(128.0)
        .selected_text(section.across.name())
        .show_ui(ui, |ui| {
            for across in Across::ALL {
                let on = section.across == across;
                if ui.selectable_label(on, across.name()).clicked() {
                    send.send(Command::Section(Cutting::Across(across)));
                }
            }
        })
        .response
        .labelled_by(label.id)
        .on_hover_text(
            "What the cut lies across. Facing the view: across your line of sight now. Along a \
             facet: click a facet of the part, or press Enter to take the one in the middle of \
             the stage.",
        );
}

fn place(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let (at_mm, range) = session.section_place_mm();
    let hint = "Drag to move the cut, or use the arrow keys.  (Shift+Page up, Shift+Page down)";
    let to = |at_mm| Command::Section(Cutting::To(at_mm));
    widgets::slider(ui, "Place of the cut", hint, at_mm, range, 0.0).set(send, to);
    let field = Number {
        range,
        speed: 0.1,
        decimals: 2,
        unit: " mm",
        width: Some(80.0),
    };
    let hint = "Distance from the origin of the part's coordinates, mm.";
    field
        .show(ui, "Place of the cut, mm", hint, at_mm)
        .set(send, to);
}

/// The direction as three numbers of any length.
fn typed(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let before = session.section_direction();
    let mut to = before.to_array();
    let mut changed = false;
    for (name, value) in ["x", "y", "z"].into_iter().zip(&mut to) {
        let field = Number {
            range: (-1000.0, 1000.0),
            speed: 0.01,
            decimals: 3,
            unit: "",
            width: Some(58.0),
        };
        ui.label(name);
        let hint = "Part of the direction that the cut lies across; any length.";
        let turned = field.show(ui, &format!("Direction of the cut, {name}"), hint, *value);
        if let Some(now) = turned.to {
            *value = now;
            changed = true;
        }
    }
    if changed {
        send.send(Command::Section(Cutting::Direction(DVec3::from(to))));
    }
}

/// What the face shows, or what to do first.
fn told(ui: &mut Ui, session: &Session) {
    let section = &session.view.section;
    if section.asks_facet {
        note(
            ui,
            "Click a facet of the part, or press Enter for the one in the middle; Esc to cancel.",
        );
        return;
    }
    let Some(doc) = &session.doc else { return };
    if section.plane(session.view.cursor_mm).is_none() {
        warning(ui, "Type a direction other than 0, 0, 0.");
        return;
    }
    let depth = widgets::mm(doc.plan().skin_mm);
    match session.section() {
        Some(cut) if cut.outlines.is_empty() => {
            note(ui, "There is no plastic in this plane.");
        }
        Some(cut) if cut.revision.is_some() && cut.face.is_empty() => {
            warning(
                ui,
                "The outline is open or crosses itself here, so the face is left grey.",
            );
        }
        _ => {
            note(
                ui,
                format!(
                    "The face has each region's colours {depth} mm deep. Deeper, hatched plastic \
                     may have any blend."
                ),
            );
        }
    }
}
