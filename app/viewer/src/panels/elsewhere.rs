//! What another program has changed, and what to do about it: a bar under the header, which
//! interrupts nothing.

use egui::Ui;

use super::widgets::{main_button, warning};
use crate::commands::{Command, Commands};
use crate::jobs::watching::{Changed, Which};
use crate::model::names::file_name;
use crate::session::Session;

/// Shows the bar.
pub(super) fn show(ui: &mut Ui, session: &Session, changed: &Changed, send: &mut Commands) {
    let which = changed.of.which;
    ui.horizontal_wrapped(|ui| {
        warning(ui, text(session, changed));
        if changed.is_gone() {
            if main_button(ui, "Go on without it", true).clicked() {
                send.send(Command::KeepMine);
            }
            return;
        }
        let theirs = match which {
            Which::Plan => "Load theirs",
            Which::Mesh => "Load the new mesh",
            Which::Spools => "Load the new spools",
            Which::Machine => "Load the new machine",
        };
        if main_button(ui, theirs, true).clicked() {
            send.send(Command::TakeTheirs);
        }
        let mine = match which {
            Which::Plan => "Keep mine",
            Which::Mesh | Which::Spools | Which::Machine => "Keep what is open",
        };
        if ui.button(mine).clicked() {
            send.send(Command::KeepMine);
        }
        if which == Which::Plan && ui.button("Compare").clicked() {
            send.send(Command::CompareWithTheirs);
        }
    });
}

fn text(session: &Session, changed: &Changed) -> String {
    let name = file_name(&changed.of.file);
    if changed.is_gone() {
        return match changed.of.which {
            Which::Plan => format!("{name} is gone. Save the plan to have it again."),
            Which::Mesh => format!("The mesh {name} is gone. Put it back before you save."),
            Which::Spools | Which::Machine => {
                format!("{name} is gone. Put it back: the plan names it.")
            }
        };
    }
    let unsaved = session.doc.as_ref().is_some_and(|d| d.is_unsaved());
    match changed.of.which {
        Which::Plan if unsaved => format!(
            "{name} was changed by another window or program. Loading theirs discards the \
             changes made here."
        ),
        Which::Plan => format!("{name} was changed by another window or program."),
        Which::Mesh => format!("The mesh {name} was changed. The plan can stay on the new one."),
        Which::Spools => format!("The spools in {name} were changed."),
        Which::Machine => format!("The machine in {name} was changed."),
    }
}
