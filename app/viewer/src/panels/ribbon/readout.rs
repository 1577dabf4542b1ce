//! What is at the height that the pointer, or else the layer cursor, is at: in numbers.

use egui::{Align, Layout, Rect, RichText, Ui, UiBuilder, vec2};

use super::sheet::Sheet;
use crate::panels::widgets::{self, note, paint_swatch};
use crate::theme::size;

/// Writes the numbers into the foot of the ribbon.
pub(super) fn show(ui: &mut Ui, rect: Rect, sheet: &Sheet<'_>) {
    let rect = rect.shrink2(vec2(10.0, 6.0));
    let layout = Layout::top_down(Align::Min);
    let mut ui = ui.new_child(UiBuilder::new().max_rect(rect).layout(layout));
    ui.shrink_clip_rect(rect.expand(4.0));
    ui.spacing_mut().item_spacing = vec2(6.0, 2.0);
    let view = sheet.view;
    let height = view.hover_mm.unwrap_or(view.cursor_mm);
    let profile = view.profile;
    let found = profile.layer_at(height);
    let row = found.and_then(|i| Some((i, profile.rows.get(i)?)));
    let Some((index, row)) = row else {
        ui.label(format!("{height:.1} mm"));
        note(&mut ui, "no layer here");
        return;
    };
    ui.horizontal(|ui| {
        ui.label(RichText::new(format!("{height:.1} mm")).strong());
        note(ui, format!("layer {} of {}", index + 1, profile.rows.len()));
    });
    note(
        &mut ui,
        format!(
            "skin {:.1} mm²/mm,  section {:.0} mm²",
            row.area_per_mm(),
            row.volume_per_mm()
        ),
    );
    ui.horizontal(|ui| {
        for piece in row.pieces.iter().take(4) {
            let (patch, _) = ui.allocate_exact_size(vec2(10.0, 10.0), egui::Sense::hover());
            paint_swatch(ui, patch, (view.piece_colour)(index, piece));
            let share = RichText::new(widgets::percent(piece.share)).size(size::SMALL);
            ui.label(share);
        }
    });
}
