//! Where purged plastic goes, and how near each blend must come.

use egui::{ComboBox, RichText, Ui};
use weave::arrange::{ALLOW_DE00, Purge};

use super::widgets::{Number, heading, note};
use crate::model::draft::{ALLOW_RANGE, Draft, PURGES};

/// Shows the options.
pub(super) fn show(ui: &mut Ui, draft: &mut Draft) {
    heading(ui, "Purge");
    let of = |purge: Purge| PURGES.iter().find(|(of, _, _)| *of == purge);
    let (name, about) = of(draft.purge).map_or(("", ""), |(_, name, about)| (*name, *about));
    ui.horizontal(|ui| {
        let label = ui.label("Goes");
        ComboBox::from_id_salt("purge")
            .selected_text(name)
            .width(170.0)
            .show_ui(ui, |ui| {
                for (purge, name, about) in PURGES {
                    ui.selectable_value(&mut draft.purge, purge, name)
                        .on_hover_text(about);
                }
            })
            .response
            .labelled_by(label.id);
    });
    note(ui, about);
    if draft.purge == Purge::Stay {
        return;
    }
    egui::CollapsingHeader::new(RichText::new("How near, bed, place of the block").small())
        .id_salt("more about the purge")
        .show(ui, |ui| more(ui, draft));
}

fn more(ui: &mut Ui, draft: &mut Draft) {
    ui.horizontal(|ui| {
        ui.checkbox(&mut draft.allows, "A blend may be off by")
            .on_hover_text(format!(
                "How far a blend may be off when its region begins in a layer. Less purges more. \
                 Otherwise ΔE00 {ALLOW_DE00}."
            ));
        ui.add_enabled_ui(draft.allows, |ui| {
            let number = Number {
                range: ALLOW_RANGE,
                speed: 0.05,
                decimals: 1,
                unit: " ΔE00",
                width: None,
            };
            let turned = number.show(ui, "Allowed difference", "", draft.allow_de00);
            draft.allow_de00 = turned.to.unwrap_or(draft.allow_de00);
        });
    });
    pair(
        ui,
        ("Bed of", "Bed's", ["width", "depth"]),
        "Size of the bed from its origin. The purge block stays on it.",
        (1.0, 1e4),
        &mut draft.knows_bed,
        &mut draft.bed_mm,
    );
    if draft.purge == Purge::Block {
        pair(
            ui,
            ("Block at", "Block's", ["x", "y"]),
            "The purge block's corner of lowest x and y. Otherwise a free place is found.",
            (-1e4, 1e4),
            &mut draft.places_block,
            &mut draft.block_at_mm,
        );
    }
}

/// Two lengths that may be given.
fn pair(
    ui: &mut Ui,
    (name, whose, of): (&str, &str, [&str; 2]),
    hint: &str,
    range: (f64, f64),
    given: &mut bool,
    lengths_mm: &mut [f64; 2],
) {
    ui.horizontal(|ui| {
        ui.checkbox(given, name).on_hover_text(hint);
        ui.add_enabled_ui(*given, |ui| {
            for (length_mm, of) in lengths_mm.iter_mut().zip(of) {
                let number = Number {
                    range,
                    speed: 0.5,
                    decimals: 1,
                    unit: " mm",
                    width: None,
                };
                let turned = number.show(ui, &format!("{whose} {of}"), hint, *length_mm);
                *length_mm = turned.to.unwrap_or(*length_mm);
            }
        });
    });
}
