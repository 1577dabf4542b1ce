//! The part: its size, what the check of its mesh found, and how it is cut into layers.

use egui::{DragValue, Grid, TextEdit, Ui};
use plan::Edit;

use super::widgets::{self, heading, note, warning};
use crate::state::Session;

/// Shows the part.
pub fn show(ui: &mut Ui, session: &mut Session) {
    let Some(doc) = &session.doc else { return };
    let (lo, hi) = doc.bounds_mm;
    let size = hi - lo;
    let (area, volume) = (doc.mesh().area_mm2(), doc.mesh().volume_mm3());
    let triangles = doc.mesh().triangles().len();
    let findings = doc.findings.clone();
    let file = doc.origin.mesh_file.clone();
    heading(ui, "Part");
    title(ui, session);
    Grid::new("part figures")
        .num_columns(2)
        .spacing([16.0, 5.0])
        .show(ui, |ui| {
            for (name, value) in [
                ("Width (x)", format!("{} mm", widgets::mm(size.x))),
                ("Depth (y)", format!("{} mm", widgets::mm(size.y))),
                ("Height (z)", format!("{} mm", widgets::mm(size.z))),
                ("Skin", widgets::area(area)),
                ("Volume", format!("{:.1} cm³", volume / 1000.0)),
                ("Triangles", format!("{triangles}")),
                (
                    "Weight, all solid",
                    widgets::grams(session.summary.mass_g()),
                ),
            ] {
                note(ui, name);
                ui.label(value);
                ui.end_row();
            }
        });
    if let Some(file) = file {
        note(ui, format!("Mesh file: {}", file.display()));
    }
    for finding in &findings {
        warning(ui, finding.as_str());
    }
    ui.add_space(8.0);
    layers(ui, session);
}

fn title(ui: &mut Ui, session: &mut Session) {
    let Some(doc) = &session.doc else { return };
    let mut title = doc.plan().title.clone();
    ui.horizontal(|ui| {
        ui.label("Title");
        let response = ui.add(TextEdit::singleline(&mut title).desired_width(200.0));
        if response.changed() {
            session.edit_dragged(Edit::SetTitle(title), false);
        } else if response.lost_focus() {
            session.edit_dragged(Edit::SetTitle(title), true);
        }
    });
}

fn layers(ui: &mut Ui, session: &mut Session) {
    let Some(doc) = &session.doc else { return };
    let plan = doc.plan();
    let (mut layers, mut skin_mm) = (plan.layers.clone(), plan.skin_mm);
    let (mut changed, mut done) = (false, false);
    heading(ui, "Layers");
    let mut field = |ui: &mut Ui, name: &str, hint: &str, value: &mut f64, range| {
        ui.label(name).on_hover_text(hint);
        let number = DragValue::new(value)
            .range(range)
            .speed(0.005)
            .max_decimals(3)
            .suffix(" mm");
        let response = ui.add(number).on_hover_text(hint);
        changed |= response.changed();
        done |= response.drag_stopped() || response.lost_focus();
        ui.end_row();
    };
    Grid::new("layers")
        .num_columns(2)
        .spacing([16.0, 5.0])
        .show(ui, |ui| {
            let hint = "Height of the first layer, mm.";
            field(
                ui,
                "First layer",
                hint,
                &mut layers.first_layer_mm,
                0.02..=2.0,
            );
            let hint = "Height of the other layers, mm.";
            field(ui, "Other layers", hint, &mut layers.layer_mm, 0.02..=2.0);
            let hint =
                "How deep colour reaches beneath the skin, mm: usually the width of the walls.";
            field(ui, "Depth of colour", hint, &mut skin_mm, 0.05..=50.0);
        });
    if !layers.changes.is_empty() {
        note(
            ui,
            format!(
                "{} changes of layer height further up.",
                layers.changes.len()
            ),
        );
    }
    let count = session.profile().rows.len();
    note(ui, format!("{count} layers"));
    if changed || done {
        session.set_layers(layers, skin_mm, done);
    }
}
