//! The millimetres.

use egui::{Align2, FontId, Stroke, Ui, pos2};

use super::scale::multiples;
use super::sheet::Sheet;
use crate::panels::widgets;
use crate::theme::size;

/// Draws marks and numbers, and the lines of the bed and of the top.
pub(super) fn draw(ui: &Ui, sheet: &Sheet<'_>) {
    let painter = ui.painter();
    let p = sheet.palette;
    let right = sheet.columns.ruler.1 - 4.0;
    let (number_mm, mark_mm) = sheet.scale.steps_mm();
    let in_sight = sheet.scale.in_sight_mm();
    let stroke = Stroke::new(1.0, p.quiet);
    let ratio = (number_mm / mark_mm).round() as i64;
    for n in multiples(mark_mm, in_sight) {
        let y = sheet.scale.y(n as f64 * mark_mm);
        let length = match ratio {
            r if n % r == 0 => 9.0,
            r if r % 2 == 0 && n % (r / 2) == 0 => 6.0,
            _ => 3.5,
        };
        painter.hline(right - length..=right, y, stroke);
    }
    let font = FontId::proportional(size::SMALL);
    for n in multiples(number_mm, in_sight) {
        let height = n as f64 * number_mm;
        let at = pos2(right - 12.0, sheet.scale.y(height));
        painter.text(
            at,
            Align2::RIGHT_CENTER,
            widgets::mm(height),
            font.clone(),
            p.text,
        );
    }
    let across = sheet.columns.ruler.0..=sheet.columns.lanes.1;
    painter.hline(
        across.clone(),
        sheet.scale.y(0.0),
        Stroke::new(1.5, p.quiet),
    );
    let top = sheet.scale.y(sheet.view.extent_mm.1);
    painter.hline(across, top, Stroke::new(1.0, p.line));
}
