//! The page of the bodies: apart from each other, with their tools, before they are written.

use bodies::{Inside, Options};
use egui::{
    Checkbox, ColorImage, Grid, Id, Image, ProgressBar, RichText, ScrollArea, TextureHandle,
    TextureOptions, Ui, vec2,
};
use package::bodies::BodiesSummary;

use super::actions::actions_row;
use super::paths::{PathField, Wants};
use super::widgets::{self, heading, note};
use crate::commands::{Browse, Command, Commands};
use crate::jobs::bodies::Cut;
use crate::jobs::thumbnails::Picture;
use crate::model::page::Page;
use crate::session::Session;

/// The most height that the picture takes, points.
const PICTURE: f32 = 300.0;

/// Shows the page.
pub(super) fn show(
    ui: &mut Ui,
    session: &Session,
    (folder, options): (&str, Options),
    fresh: bool,
    send: &mut Commands,
) {
    heading(ui, "Bodies for several tools");
    ui.label("Cuts the part into solids that share their walls, one for each blend to store.");
    choices(ui, session, options, send);
    let cut = session.bodies.as_deref();
    if let Some(cut) = cut {
        found(ui, cut);
    }
    if let Some((title, stage, fraction)) = session.busy_with().filter(|_| session.is_on_bodies()) {
        note(ui, format!("{title}: {stage}"));
        let bar = ProgressBar::new(fraction).desired_height(10.0);
        ui.add(bar.desired_width(520.0));
    }
    if let Some(folder) = session.bodies_written.as_ref() {
        ui.label(RichText::new(format!("Written to {}", folder.display())).strong());
        note(ui, "Open tools.html there: it says what to store.");
    }
    let field = PathField {
        name: "Folder",
        wants: Wants::Folder,
        fresh,
    };
    let told = field.show(ui, folder);
    let can = told.usable && cut.is_some() && !session.is_on_bodies();
    let go = actions_row(ui, send, "Write the bodies", can, "Close");
    if told.browse {
        send.send(Command::Browse(Browse::Folder));
    } else if (go || told.entered) && can {
        send.send(Command::BodiesIn(told.path()));
    } else if told.text != folder {
        send.send(Command::ShowPage(Page::Bodies {
            folder: told.text,
            options,
        }));
    }
}

/// How the part is cut; a change cuts it anew.
fn choices(ui: &mut Ui, session: &Session, options: Options, send: &mut Commands) {
    let mut changed = options;
    let mut one = options.inside == Inside::Largest;
    ui.horizontal(|ui| {
        let enabled = !session.is_on_bodies();
        ui.add_enabled(enabled, Checkbox::new(&mut one, "One blend inside"))
            .on_hover_text("The whole inside gets the blend that most of the skin has.");
        let merge = Checkbox::new(&mut changed.merge_thin, "Merge thin pieces");
        ui.add_enabled(enabled, merge).on_hover_text(
            "Pieces thinner than a line of the nozzle are merged into their \
                            neighbours.",
        );
    });
    changed.inside = match one {
        true => Inside::Largest,
        false => Inside::Levels,
    };
    if changed != options {
        send.send(Command::CutBodies(changed));
    }
}

fn found(ui: &mut Ui, cut: &Cut) {
    if let Some(picture) = &cut.picture {
        let texture = texture(ui, picture);
        let [width, height] = picture.size_px.map(|px| px as f32);
        let high = PICTURE.min(ui.available_height() * 0.5).max(120.0);
        let size = vec2(high * width / height.max(1.0), high);
        ui.add(Image::new((texture.id(), size)).alt_text("The bodies apart from each other"));
    }
    ScrollArea::vertical()
        .max_height(200.0)
        .show(ui, |ui| tools(ui, &cut.summary));
}

fn tools(ui: &mut Ui, summary: &BodiesSummary) {
    Grid::new("tools")
        .num_columns(5)
        .striped(true)
        .show(ui, |ui| {
            for title in ["Tool", "", "Shares, %", "Mass, if solid", "Name"] {
                note(ui, title);
            }
            ui.end_row();
            for tool in &summary.tools {
                ui.label(&tool.number);
                if let Ok(colour) = tool.colour.parse() {
                    widgets::swatch(ui, colour, vec2(22.0, 16.0));
                } else {
                    ui.label("");
                }
                let shares: Vec<String> = tool
                    .shares
                    .iter()
                    .map(|s| format!("{:.1}", s * 100.0))
                    .collect();
                ui.label(RichText::new(shares.join(" / ")).monospace());
                ui.label(format!("{:.1} g", tool.mass_g));
                ui.label(&tool.name);
                ui.end_row();
            }
        });
    let changes: usize = summary.purge.changes.iter().sum();
    note(
        ui,
        format!(
            "Off the requested colours by a mean ΔE00 of {:.1}; 95 % of the area within {:.1}. \
             {changes} changes of tool; a tower takes {:.1} g.",
            summary.fit.mean_de00, summary.fit.p95_de00, summary.purge.mass_g
        ),
    );
    for text in &summary.notes {
        widgets::warning(ui, text.as_str());
    }
}

/// The picture on the graphics card; a new one when the part is cut anew.
fn texture(ui: &Ui, picture: &Picture) -> TextureHandle {
    let id = Id::new("bodies");
    let which = std::ptr::from_ref(picture) as usize;
    let known: Option<(usize, TextureHandle)> = ui.data(|d| d.get_temp(id));
    if let Some((_, texture)) = known.filter(|(of, _)| *of == which) {
        return texture;
    }
    let image = ColorImage::from_rgba_unmultiplied(picture.size_px, &picture.rgba);
    let texture = ui
        .ctx()
        .load_texture("bodies", image, TextureOptions::LINEAR);
    ui.data_mut(|d| d.insert_temp(id, (which, texture.clone())));
    texture
}
