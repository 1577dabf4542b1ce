//! The drawer: regions and blends, spools, the part, checks, the toolpath.

use egui::{Frame, Margin, RichText, ScrollArea, Ui};

use super::{blend_editor, checks, fade_editor, part, spools, stack, weave};
use crate::state::Session;
use crate::state::session::Drawer;

/// Shows the drawer.
pub fn show(ui: &mut Ui, session: &mut Session) {
    let inset = Frame::new().inner_margin(Margin::symmetric(12, 8));
    inset.show(ui, |ui| choices(ui, session));
    ui.separator();
    if session.drawer == Drawer::Colour {
        colour(ui, session);
        return;
    }
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            inset.show(ui, |ui| match session.drawer {
                Drawer::Colour => {}
                Drawer::Spools => spools::show(ui, session),
                Drawer::Part => part::show(ui, session),
                Drawer::Checks => checks::show(ui, session),
                Drawer::Weave => weave::show(ui, session),
            });
        });
}

fn choices(ui: &mut Ui, session: &mut Session) {
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 3.0;
        ui.spacing_mut().button_padding.x = 6.0;
        let warnings = session.warnings().len();
        for drawer in Drawer::ALL {
            let text = match drawer {
                Drawer::Colour => "Colour".to_owned(),
                Drawer::Spools => "Spools".to_owned(),
                Drawer::Part => "Part".to_owned(),
                Drawer::Checks if warnings > 0 => format!("Checks ({warnings})"),
                Drawer::Checks => "Checks".to_owned(),
                Drawer::Weave => "Weave".to_owned(),
            };
            let on = session.drawer == drawer;
            if ui.selectable_label(on, RichText::new(text)).clicked() {
                session.drawer = drawer;
            }
        }
    });
}

/// The regions above, the chosen one's blend below; each scrolls by itself.
fn colour(ui: &mut Ui, session: &mut Session) {
    let inset = Frame::new().inner_margin(Margin::symmetric(12, 6));
    let room = ui.available_height();
    let rows = session.doc.as_ref().map_or(0, |d| d.plan().regions.len());
    let wanted = stack::height(rows);
    let list = wanted.min(room * 0.45);
    ui.allocate_ui(egui::vec2(ui.available_width(), list), |ui| {
        ui.set_min_height(list);
        inset.show(ui, |ui| stack::show(ui, session));
    });
    ui.separator();
    ScrollArea::vertical()
        .id_salt("blend")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            inset.show(ui, |ui| {
                if session.chosen_region().is_some() {
                    fade_editor::show(ui, session);
                    blend_editor::show(ui, session);
                }
            });
        });
}
