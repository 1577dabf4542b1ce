//! The drawer: regions and blends, spools, the part, checks, the toolpath, the whole job.

use egui::{Frame, Margin, RichText, ScrollArea, Ui};

use super::{area, blend_editor, checks, fade_editor, job, part, placing, spools, stack, weave};
use crate::commands::{Command, Commands};
use crate::model::page::Drawer;
use crate::session::Session;

/// Shows the drawer.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let inset = Frame::new().inner_margin(Margin::symmetric(12, 8));
    inset.show(ui, |ui| choices(ui, session, send));
    ui.separator();
    if session.drawer == Drawer::Colour {
        colour(ui, session, send);
        return;
    }
    if session.drawer != Drawer::Weave {
        send.send(Command::LiftRegion(None));
    }
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            inset.show(ui, |ui| match session.drawer {
                Drawer::Colour => {}
                Drawer::Spools => spools::show(ui, session, send),
                Drawer::Part => part::show(ui, session, send),
                Drawer::Checks => checks::show(ui, session),
                Drawer::Weave => weave::show(ui, session, send),
                Drawer::Job => job::show(ui, session, send),
            });
        });
}

fn choices(ui: &mut Ui, session: &Session, send: &mut Commands) {
    // In a narrow drawer they take a second row rather than be cut off.
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        ui.spacing_mut().button_padding.x = 5.0;
        let warnings = session.warnings().len();
        for drawer in Drawer::ALL {
            let text = match drawer {
                Drawer::Checks if warnings > 0 => format!("Checks ({warnings})"),
                drawer => drawer.name().to_owned(),
            };
            let on = session.drawer == drawer;
            if ui.selectable_label(on, RichText::new(text)).clicked() {
                send.send(Command::ShowDrawer(drawer));
            }
        }
    });
}

/// The regions above, the chosen one's blend below; each scrolls by itself.
fn colour(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let inset = Frame::new().inner_margin(Margin::symmetric(12, 6));
    let room = ui.available_height();
    let rows = session.doc.as_ref().map_or(0, |d| d.plan().regions.len());
    let wanted = stack::height(rows);
    let list = wanted.min(room * 0.45);
    ui.allocate_ui(egui::vec2(ui.available_width(), list), |ui| {
        ui.set_min_height(list);
        inset.show(ui, |ui| stack::show(ui, session, send));
    });
    ui.separator();
    ScrollArea::vertical()
        .id_salt("blend")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            inset.show(ui, |ui| {
                if session.chosen_region().is_some() {
                    fade_editor::show(ui, session, send);
                    placing::show(ui, session, send);
                    blend_editor::show(ui, session, send);
                    area::show(ui, session, send);
                }
            });
        });
}
