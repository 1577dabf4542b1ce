//! The purge blocks in words: their places and sizes on the page, their labels on the stage.

use egui::{Align2, FontId, Pos2, Rect, Stroke, Ui, vec2};
use geometry::SurfacePoint;
use weave::arrange::Purge;
use weave::standing_blocks::StandingBlock;

use super::widgets::{grams, note};
use crate::model::purge_blocks;
use crate::session::Session;
use crate::theme::{Palette, size};

/// How far a label stands above its block, points.
const ABOVE: f32 = 14.0;

/// Blocks that are told one by one.
const MOST_BLOCKS: usize = 6;

/// Says where the blocks will stand, as far as that is known.
pub(super) fn show(ui: &mut Ui, session: &Session) {
    if let Some(standing) = session.purge_blocks() {
        for block in standing.blocks.iter().take(MOST_BLOCKS) {
            note(ui, place(block));
        }
        if let Some(more @ 1..) = standing.blocks.len().checked_sub(MOST_BLOCKS) {
            note(ui, format!("and {more} more blocks."));
        }
    } else if session.toolpath.draft.purge == Purge::Block && session.foreseen_now().is_some() {
        note(ui, "There is no purge block with these options.");
    }
}

fn place(block: &StandingBlock) -> String {
    let ([x0, y0, _], [x1, y1, _]) = block.bounds_mm();
    let stands = match block.mass_g {
        Some(_) => "The purge block stands",
        None => "The followed file keeps room for its purge block",
    };
    format!(
        "{stands} at x {x0:.1} to {x1:.1}, y {y0:.1} to {y1:.1} mm on the bed, striped in the view: \
         {}.",
        measures(block)
    )
}

/// Its size with the brim, and its mass.
fn measures(block: &StandingBlock) -> String {
    let ([x0, y0, z0], [x1, y1, z1]) = block.bounds_mm();
    let mass = block.mass_g.map(|g| format!(", {}", grams(g)));
    format!(
        "{:.1} × {:.1} × {:.1} mm{}",
        x1 - x0,
        y1 - y0,
        z1 - z0,
        mass.unwrap_or_default()
    )
}

/// Writes on the stage what each block is, so that it is not taken for a part.
pub(super) fn labels(painter: &egui::Painter, session: &Session, p: Palette) {
    let Some(standing) = session.purge_blocks() else {
        return;
    };
    let (camera, stage) = (session.view.camera, session.view.stage);
    let up_to_mm = session.cut_height_mm().unwrap_or(f64::INFINITY);
    for block in &standing.blocks {
        let top_mm = purge_blocks::top_mm(standing, block, up_to_mm);
        if let Some(tip) = camera.project(stage, top_mm)
            && stage.contains(tip)
        {
            let hit = session.pick(tip);
            let before =
                |hit: &SurfacePoint| (hit.point_mm - top_mm).dot(camera.axes().forward) < 0.0;
            let hidden = hit.is_some_and(|hit| before(&hit));
            let name = match hidden {
                true => "Purge block, behind the part",
                false => "Purge block",
            };
            let words = format!("{name}\n{}", measures(block));
            label(painter, (stage, tip, hidden), words, p);
        }
    }
}

/// A label at the tip of a leader; without one where the part is before what it would point at.
fn label(
    painter: &egui::Painter,
    (stage, tip, hidden): (Rect, Pos2, bool),
    words: String,
    p: Palette,
) {
    let font = FontId::proportional(size::SMALL);
    let text = painter.layout_no_wrap(words, font, p.text);
    let room = text.size() + vec2(14.0, 8.0);
    let inside = stage.shrink(4.0);
    let ground = Align2::CENTER_BOTTOM.anchor_size(tip - vec2(0.0, ABOVE), room);
    let from_left = (inside.left() - ground.left()).max(0.0);
    let from_right = (ground.right() - inside.right()).max(0.0);
    let down = (inside.top() - ground.top()).max(0.0);
    let ground = ground.translate(vec2(from_left - from_right, down));
    if !hidden {
        painter.line_segment([ground.center_bottom(), tip], Stroke::new(1.0, p.edge));
        painter.circle_filled(tip, 2.0, p.edge);
    }
    let edge = Stroke::new(1.0, p.edge);
    painter.rect(ground, 5.0, p.raised, edge, egui::StrokeKind::Inside);
    let corner = Rect::from_center_size(ground.center(), text.size()).min;
    painter.galley(corner, text, p.text);
}
