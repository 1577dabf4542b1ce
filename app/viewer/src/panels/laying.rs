//! How blends change along the print: sent ahead, purged at jumps, merged, or one for each layer.

use egui::{Grid, RichText, Ui};
use plan::{Edit, Laying, SharedLayers};

use super::widgets::{Number, Turned, heading, note};
use crate::commands::{Command, Commands};
use crate::session::Session;

/// What steps of a fade may be off when merging is first asked for, ΔE00: hardly visible.
const MERGED_DE00: f64 = 1.0;

/// Shows it.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(doc) = &session.doc else { return };
    let before = doc.plan().laying;
    let mut laying = before;
    heading(ui, "Changes of blend");
    let mut turned = ticks(ui, &mut laying);
    turned = merging(ui, &mut laying).or(turned);
    turned = shared(ui, &mut laying).or(turned);
    if laying.purge_jumps {
        note(
            ui,
            "Purge costs plastic and time: see As printed, in Checks.",
        );
    }
    if laying != before {
        send.edit_on(Edit::SetLaying(laying), false);
    }
    if turned.done {
        send.send(Command::EditDone);
    }
}

fn ticks(ui: &mut Ui, laying: &mut Laying) -> Turned {
    let mut tick =
        |name: &str, hint: &str, on: &mut bool| ui.checkbox(on, name).on_hover_text(hint).changed();
    let ahead = tick(
        "Send changes ahead",
        "Each change is sent earlier by what the melt chamber holds, so that it appears in its \
         place.",
        &mut laying.lead,
    );
    let jumps = tick(
        "Purge where the blend jumps",
        "The old blend is flushed out between two bands. Without this, the jump is smeared over \
         what the melt chamber holds.",
        &mut laying.purge_jumps,
    );
    Turned {
        done: ahead || jumps,
        ..Turned::default()
    }
}

/// Fewer commands for a fade.
fn merging(ui: &mut Ui, laying: &mut Laying) -> Turned {
    let mut turned = Turned::default();
    let mut merges = laying.merge_de00.is_some();
    let tick = ui
        .checkbox(&mut merges, "Merge steps of fades")
        .on_hover_text(
            "Layers of a fade share a blend while none is off by more than the number below. \
             Fewer commands are sent.",
        );
    if tick.changed() {
        laying.merge_de00 = merges.then_some(MERGED_DE00);
        turned.done = true;
    }
    if let Some(de00) = &mut laying.merge_de00 {
        let hint = "How far a merged step may be off, ΔE00. Below 1 it is hardly visible.";
        Grid::new("merging")
            .num_columns(2)
            .spacing([16.0, 5.0])
            .show(ui, |ui| {
                ui.label("Off by at most").on_hover_text(hint);
                let number = Number {
                    range: (0.1, 50.0),
                    speed: 0.02,
                    decimals: 1,
                    unit: " ΔE00",
                    width: None,
                };
                let now = number.show(ui, "Merged steps off by at most", hint, *de00);
                *de00 = now.to.unwrap_or(*de00);
                turned = now.or(turned);
                ui.end_row();
            });
    }
    turned
}

/// What happens where regions share a layer.
fn shared(ui: &mut Ui, laying: &mut Laying) -> Turned {
    let mut turned = Turned::default();
    ui.label("Where regions share a layer");
    for (value, name, hint) in [
        (
            SharedLayers::Flush,
            "each keeps its blend",
            "The blend is changed within the layer, and the old one purged.",
        ),
        (
            SharedLayers::OneBlend,
            "one blend for the layer",
            "The blend nearest to what the layer's visible area asks for. The other regions yield, \
             and nothing is purged.",
        ),
    ] {
        let on = laying.shared_layers == value;
        let choice = ui.radio(on, RichText::new(name)).on_hover_text(hint);
        if choice.clicked() && !on {
            laying.shared_layers = value;
            turned.done = true;
        }
    }
    turned
}
