//! The part: its size, what the check of its mesh found, and how it is cut into layers.

use egui::{Grid, TextEdit, Ui};
use geometry::inspect::volume_words;
use plan::{Edit, Wall};

use super::widgets::{self, Number, Turned, heading, note, warning};
use super::{laying, own_colours, shortcuts, standing};
use crate::commands::{Command, Commands};
use crate::session::Session;

/// Shows the part.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let (lo, hi) = doc.bounds_mm;
    let size = hi - lo;
    let solid = session.summary.totals.as_ref().map(|t| t.solid_mm3);
    // Of a mesh that is not sound the outlines tell what its facets don't.
    let (area, volume) = (doc.size.area_mm2, solid.unwrap_or(doc.size.volume_mm3));
    let triangles = doc.mesh().triangles().len();
    let findings = doc.findings.clone();
    let file = doc.origin.mesh_file.clone();
    heading(ui, "Part");
    title(ui, session, send);
    Grid::new("part figures")
        .num_columns(2)
        .spacing([16.0, 5.0])
        .show(ui, |ui| {
            for (name, value) in [
                ("Width (x)", format!("{} mm", widgets::mm(size.x))),
                ("Depth (y)", format!("{} mm", widgets::mm(size.y))),
                ("Height (z)", format!("{} mm", widgets::mm(size.z))),
                ("Skin", widgets::area(area)),
                ("Volume", volume_words(volume)),
                ("Triangles", format!("{triangles}")),
                (
                    "Weight, as filled",
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
    standing::show(ui, session, send);
    for finding in &findings {
        warning(ui, finding.as_str());
    }
    mending(ui, session, send);
    own_colours::show(ui, session, send);
    ui.add_space(8.0);
    layers(ui, session, send);
    ui.add_space(8.0);
    laying::show(ui, session, send);
    ui.add_space(8.0);
    wall(ui, session, send);
}

/// What can be done about a mesh that is not sound.
fn mending(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let mends = session.doc.as_ref().is_some_and(|doc| doc.plan().mesh.mend);
    if mends {
        note(ui, "The plan mends the mesh each time it is read.");
    }
    if session.can(&Command::Mend) {
        let button = ui.button("Mend the mesh");
        let hint = shortcuts::hint(&Command::Mend);
        if button.on_hover_text(hint).clicked() {
            send.send(Command::Mend);
        }
    }
}

fn title(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let mut title = doc.plan().title.clone();
    ui.horizontal(|ui| {
        ui.label("Title");
        let response = ui.add(TextEdit::singleline(&mut title).desired_width(200.0));
        widgets::named(&response, egui::WidgetType::TextEdit, "Title");
        if response.changed() {
            send.edit_on(Edit::SetTitle(title), false);
        }
        if response.lost_focus() {
            send.send(Command::EditDone);
        }
    });
}

fn layers(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let plan = doc.plan();
    let (mut layers, mut skin_mm) = (plan.layers.clone(), plan.skin_mm);
    heading(ui, "Layers");
    let mut turned = Turned::default();
    let mut field = |ui: &mut Ui, name: &str, hint: &str, value: &mut f64, range| {
        ui.label(name).on_hover_text(hint);
        let now = number(range, 3, 0.005, " mm").show(ui, name, hint, *value);
        *value = now.to.unwrap_or(*value);
        turned = now.or(turned);
        ui.end_row();
    };
    Grid::new("layers")
        .num_columns(2)
        .spacing([16.0, 5.0])
        .show(ui, |ui| {
            let hint = "Height of the first layer, mm.";
            let range = (0.02, 2.0);
            field(ui, "First layer", hint, &mut layers.first_layer_mm, range);
            let hint = "Height of the other layers, mm.";
            field(ui, "Other layers", hint, &mut layers.layer_mm, range);
            let hint =
                "How deep colour reaches below the skin, mm; usually the thickness of the walls.";
            field(ui, "Depth of colour", hint, &mut skin_mm, (0.05, 50.0));
        });
    if !layers.changes.is_empty() {
        let count = layers.changes.len();
        note(ui, format!("{count} changes of layer height higher up."));
    }
    let count = session.profile().rows.len();
    note(ui, format!("{count} layers"));
    let both = vec![Edit::SetLayers(layers), Edit::SetSkin(skin_mm)];
    turned.send(send, |_| Command::EditOn(Box::new(Edit::Together(both))));
}

fn number(range: (f64, f64), decimals: usize, speed: f64, unit: &'static str) -> Number {
    Number {
        range,
        speed,
        decimals,
        unit,
        width: None,
    }
}

/// The wall that shows, for spools that light shines through.
fn wall(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let plan = doc.plan();
    let before = plan.wall;
    let see_through = plan.spools.iter().any(|s| s.translucent.is_some());
    let depth_mm = plan.skin_mm;
    let (mut wall, mut turned) = (before, Turned::default());
    heading(ui, "Wall");
    let mut known = wall.is_some();
    let tick = ui
        .checkbox(&mut known, "Colours seen through the wall")
        .on_hover_text(
            "For spools that light shines through. Their colours depend on the \
                        thickness of the wall and on what is behind it. Without this, colours are \
                        those of thick plastic.",
        );
    if tick.changed() {
        wall = known.then_some(Wall {
            thickness_mm: depth_mm,
            behind: 0.0,
        });
        turned.done = true;
    }
    if let Some(wall) = &mut wall {
        Grid::new("wall")
            .num_columns(2)
            .spacing([16.0, 5.0])
            .show(ui, |ui| turned = wall_fields(ui, wall).or(turned));
    }
    if !see_through {
        note(
            ui,
            "No spool here lets light through, so this changes little.",
        );
    }
    if wall != before {
        send.edit_on(Edit::SetWall(wall), false);
    }
    if turned.done {
        send.send(Command::EditDone);
    }
}

fn wall_fields(ui: &mut Ui, wall: &mut Wall) -> Turned {
    let hint = "Thickness of the visible wall, mm.";
    ui.label("Thickness").on_hover_text(hint);
    let thickness = number((0.05, 50.0), 2, 0.01, " mm");
    let one = thickness.show(ui, "Thickness of the wall", hint, wall.thickness_mm);
    wall.thickness_mm = one.to.unwrap_or(wall.thickness_mm);
    ui.end_row();
    let hint = "How much light comes back from behind the wall: 0 % for a dark hollow, 90 % for \
                white plastic.";
    ui.label("Light from behind").on_hover_text(hint);
    let behind = number((0.0, 100.0), 0, 0.5, " %");
    let other = behind.show(ui, "Light from behind, percent", hint, wall.behind * 100.0);
    if let Some(percent) = other.to {
        wall.behind = percent / 100.0;
    }
    ui.end_row();
    one.or(other)
}
