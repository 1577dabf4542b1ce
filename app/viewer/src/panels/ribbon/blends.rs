//! The column of blends: each layer's colours side by side, each as wide as its share of the
//! layer's visible area.

use egui::{CornerRadius, Mesh, Shape, Stroke, StrokeKind, Ui};

use super::sheet::Sheet;
use crate::model::profile::{Piece, Row};

/// Draws the column.
pub(super) fn draw(ui: &Ui, sheet: &Sheet<'_>) {
    let painter = ui.painter();
    let x = sheet.columns.blends;
    let (low, high) = sheet.view.extent_mm;
    let frame = sheet.scale.span(x, low, high);
    painter.rect_filled(frame, CornerRadius::ZERO, sheet.palette.well);

    let (from, to) = sheet.scale.in_sight_mm();
    let range = sheet.view.profile.between(from, to);
    let first = range.start;
    let rows = sheet.view.profile.rows.get(range).unwrap_or_default();
    // More rows than half pixels can't be told apart.
    let pixel = 0.5 / ui.pixels_per_point();
    let mut mesh = Mesh::default();
    let mut drawn_to = f32::INFINITY;
    for (layer, row) in rows.iter().enumerate() {
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
        let mut left = x.0;
        for piece in &row.pieces {
            let right = left + (x.1 - x.0) * piece.share as f32;
            let rect = span.with_min_x(left).with_max_x(right);
            let colour = (sheet.view.piece_colour)(first + layer, piece);
            mesh.add_colored_rect(rect, colour);
            left = right;
        }
    }
    painter.add(Shape::mesh(mesh));
    let edge = Stroke::new(1.0, sheet.palette.line);
    painter.rect_stroke(frame, CornerRadius::ZERO, edge, StrokeKind::Outside);
}

/// The piece of a layer at a place across the column, from 0 to 1.
pub(super) fn piece_at(row: &Row, across: f64) -> Option<&Piece> {
    let mut right = 0.0;
    row.pieces.iter().find(|piece| {
        right += piece.share;
        across < right
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::Srgb;

    #[test]
    fn the_piece_under_the_pointer() {
        let piece = |region, share| Piece {
            region,
            dose: 0,
            colour: Srgb([0, 0, 0]),
            share,
        };
        let row = Row {
            bottom_mm: 0.0,
            top_mm: 0.2,
            area_mm2: 1.0,
            volume_mm3: 1.0,
            pieces: vec![piece(4, 0.25), piece(1, 0.75)],
        };
        assert_eq!(piece_at(&row, 0.2).map(|p| p.region), Some(4));
        assert_eq!(piece_at(&row, 0.3).map(|p| p.region), Some(1));
        assert_eq!(piece_at(&row, 1.1), None);
    }
}
