//! The whole job, in the order in which it is done: what is not coloured on the stage.

mod agree;
mod hand_on;
mod page;
mod printer;
mod seen;

use egui::Ui;

use super::widgets::note;
use crate::commands::{Command, Commands};
use crate::model::errand::{Errand, FormFile};
use crate::model::page::Drawer;
use crate::session::Session;
use page::Page;

/// Shows the page.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let mut forms = session.errands.forms.clone();
    let mut page = Page {
        session,
        forms: &mut forms,
        send,
    };
    page.stage(ui, "1. Know the printer", printer::show);
    page.stage(ui, "2. Plan the colours", plan);
    page.stage(ui, "3. Agree on them", agree::show);
    page.stage(ui, "4. Hand them on", hand_on::show);
    page.stage(ui, "5. Watch the print", seen::show);
    if forms != session.errands.forms {
        send.send(Command::SetForms(Box::new(forms)));
    }
}

/// The field for the record of a print, for pages elsewhere that take it along.
pub(super) fn record(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let mut forms = session.errands.forms.clone();
    let mut page = Page {
        session,
        forms: &mut forms,
        send,
    };
    agree::record(ui, &mut page);
    if forms != session.errands.forms {
        send.send(Command::SetForms(Box::new(forms)));
    }
}

/// Colouring has its own pages; a plan can be held against another here.
fn plan(ui: &mut Ui, page: &mut Page<'_>) {
    ui.horizontal_wrapped(|ui| {
        for (name, drawer) in [
            ("Regions and blends", Drawer::Colour),
            ("Spools", Drawer::Spools),
            ("Part and layers", Drawer::Part),
            ("Checks", Drawer::Checks),
        ] {
            if ui.button(name).clicked() {
                page.send.send(Command::ShowDrawer(drawer));
            }
        }
    });
    page.step(
        ui,
        "Compare with another plan",
        &[Errand::Compare],
        |ui, page| {
            page.file(ui, FormFile::OtherPlan);
            page.file(ui, FormFile::Differences);
            note(
                ui,
                "What is different from that plan, in words and in a picture. Without a name, no \
             picture is drawn.",
            );
            page.button(ui, "Compare the plans", Errand::Compare);
        },
    );
}
