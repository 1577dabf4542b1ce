//! Area and volume per millimetre of height, and the marks beside them.

use egui::{Align2, FontId, Mesh, Painter, Pos2, Rect, Shape, Stroke, Ui, Vec2, pos2, vec2};

use super::sheet::Sheet;
use crate::model::profile::Row;
use crate::panels::icon::{self, Icon};
use crate::theme::Palette;

/// Draws volume as a filled shape, area as a line, and the marks.
pub(super) fn draw(ui: &Ui, sheet: &Sheet<'_>) {
    let painter = ui.painter();
    let profile = sheet.view.profile;
    let (from, to) = sheet.scale.in_sight_mm();
    let range = profile.between(from, to);
    let rows = profile.rows.get(range).unwrap_or_default();
    let x = sheet.columns.curves;
    let p = sheet.palette;

    let along = |value: f64, most: f64| {
        let share = if most > 0.0 { value / most } else { 0.0 };
        x.0 + (x.1 - x.0) * share.clamp(0.0, 1.0) as f32
    };
    let mut filled = Mesh::default();
    let mut line = Vec::with_capacity(rows.len() * 2);
    let pixel = 0.5 / ui.pixels_per_point();
    let mut drawn_to = f32::INFINITY;
    for row in rows {
        let span = sheet.scale.span(x, row.bottom_mm, row.top_mm);
        if span.top() > drawn_to - pixel {
            continue;
        }
        // It stands for those that were left out beneath it, too.
        let span = match drawn_to.is_finite() {
            true => span.with_max_y(drawn_to),
            false => span,
        };
        drawn_to = span.top();
        let volume = along(row.volume_per_mm(), profile.most_volume_per_mm);
        filled.add_colored_rect(span.with_max_x(volume), p.quiet.gamma_multiply(0.35));
        let area = along(row.area_per_mm(), profile.most_area_per_mm);
        line.push(pos2(area, span.bottom()));
        line.push(pos2(area, span.top()));
    }
    painter.add(Shape::mesh(filled));
    if line.len() > 1 {
        painter.add(Shape::line(line, Stroke::new(1.4, p.text)));
    }
    marks(painter, sheet, rows);
}

/// Layers with more than one blend get a bar for each further one; warnings a sign.
fn marks(painter: &Painter, sheet: &Sheet<'_>, rows: &[Row]) {
    let p = sheet.palette;
    let x = sheet.columns.marks;
    let mut drawn_to = f32::INFINITY;
    for row in rows.iter().filter(|r| r.blends() > 1) {
        let y = sheet.scale.y(0.5 * (row.bottom_mm + row.top_mm));
        if y > drawn_to - 2.0 {
            continue;
        }
        drawn_to = y;
        let length = 4.0 * (row.blends() - 1).min(3) as f32;
        painter.hline(x.0 + 3.0..=x.0 + 3.0 + length, y, Stroke::new(1.2, p.text));
    }
    let mut drawn_to = f32::INFINITY;
    for (height_mm, _) in sheet.view.warnings {
        let y = sheet.scale.y(*height_mm);
        if y > drawn_to - 12.0 {
            continue;
        }
        drawn_to = y;
        let sign = Rect::from_center_size(pos2(x.1 - 7.0, y), Vec2::splat(14.0));
        painter.rect_filled(sign, 2.0, p.panel);
        icon::paint(painter, sign, Icon::Warning, p.warn);
    }
}

/// What filled shape and line mean.
pub(super) fn legend(painter: &Painter, at: Pos2, font: &FontId, p: Palette) {
    let patch = Rect::from_center_size(at + vec2(4.0, 0.0), vec2(8.0, 9.0));
    painter.rect_filled(patch, 0.0, p.quiet.gamma_multiply(0.45));
    let after = painter.text(
        at + vec2(11.0, 0.0),
        Align2::LEFT_CENTER,
        "Vol.",
        font.clone(),
        p.quiet,
    );
    let line_at = pos2(after.right() + 9.0, at.y);
    painter.vline(line_at.x, at.y - 5.0..=at.y + 5.0, Stroke::new(1.4, p.text));
    painter.text(
        line_at + vec2(5.0, 0.0),
        Align2::LEFT_CENTER,
        "Area",
        font.clone(),
        p.quiet,
    );
}
