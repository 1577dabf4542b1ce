//! The part: its size, what the check of its mesh found, and how it is cut into layers.

use egui::{DragValue, Grid, TextEdit, Ui};
use plan::{Edit, Wall};

use super::widgets::{self, heading, note, warning};
use crate::state::Session;

/// Shows the part.
pub fn show(ui: &mut Ui, session: &mut Session) {
    let Some(doc) = &session.doc else { return };
    let (lo, hi) = doc.bounds_mm;
    let size = hi - lo;
    let (area, volume) = (doc.area_mm2, doc.volume_mm3);
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
    ui.add_space(8.0);
    wall(ui, session);
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

/// The wall that shows, for spools that light shines through.
fn wall(ui: &mut Ui, session: &mut Session) {
    let Some(doc) = &session.doc else { return };
    let plan = doc.plan();
    let before = plan.wall;
    let see_through = plan.spools.iter().any(|s| s.translucent.is_some());
    let depth_mm = plan.skin_mm;
    let (mut wall, mut done) = (before, false);
    heading(ui, "Wall");
    let mut known = wall.is_some();
    let tick = ui
        .checkbox(&mut known, "Colours seen through the wall")
        .on_hover_text("For spools that light shines through: their colours hang on how thick the wall is and on what lies behind it. Without this, colours are those of thick plastic.");
    if tick.changed() {
        wall = known.then_some(Wall {
            thickness_mm: depth_mm,
            behind: 0.0,
        });
        done = true;
    }
    if let Some(wall) = &mut wall {
        Grid::new("wall")
            .num_columns(2)
            .spacing([16.0, 5.0])
            .show(ui, |ui| done |= wall_fields(ui, wall));
    }
    if !see_through {
        note(
            ui,
            "No spool here lets light through, so this changes little.",
        );
    }
    if wall != before || done {
        session.edit_dragged(Edit::SetWall(wall), done);
    }
}

/// Gives whether a value was set to the end.
fn wall_fields(ui: &mut Ui, wall: &mut Wall) -> bool {
    let hint = "How thick the wall is that shows, mm.";
    let thickness = DragValue::new(&mut wall.thickness_mm)
        .range(0.05..=50.0)
        .speed(0.01)
        .max_decimals(2)
        .suffix(" mm");
    ui.label("Thickness").on_hover_text(hint);
    let one = ui.add(thickness).on_hover_text(hint);
    ui.end_row();
    let hint = "How much light what lies behind the wall throws back: 0 % for a dark hollow, 90 % for white plastic.";
    let mut percent = wall.behind * 100.0;
    let behind = DragValue::new(&mut percent)
        .range(0.0..=100.0)
        .speed(0.5)
        .max_decimals(0)
        .suffix(" %");
    ui.label("Light from behind").on_hover_text(hint);
    let other = ui.add(behind).on_hover_text(hint);
    if other.changed() {
        wall.behind = (percent / 100.0).clamp(0.0, 1.0);
    }
    ui.end_row();
    [one, other]
        .iter()
        .any(|r| r.drag_stopped() || r.lost_focus())
}
