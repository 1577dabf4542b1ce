//! The views of the part, all at one scale, packed into rows so that they come out as large
//! as the space lets them.

use geometry::{Mesh, Progress, SurfacePoint};

use super::page::{Align, Page, Rect};
use super::{SheetError, style};
use crate::render::{Background, Camera, Frame, Lens, Render, Stage, View};

const GAP: f32 = 34.0;
const CAPTION: f32 = 30.0;
/// What the scale bar takes at the foot of the block.
const FOOT: f32 = 30.0;
/// The three-quarter views are shown larger than the straight ones.
const LARGER: f32 = 1.2;

/// A view and where its part lies on the page.
struct Cell {
    view: View,
    at: Rect,
}

/// Renders and draws the views and the scale bar.
pub fn draw(
    page: &mut Page,
    area: Rect,
    views: &[View],
    stage: &Stage,
    colour: &(impl Fn(SurfacePoint) -> [f64; 3] + Sync),
    progress: &Progress,
) -> Result<(), SheetError> {
    let mesh = stage.surface().mesh();
    let room = Rect {
        height: area.height - FOOT,
        ..area
    };
    let (cells, scale) = packed(mesh, views, room);
    for cell in &cells {
        progress.stage(&format!("Rendering: {}", cell.view.title().to_lowercase()));
        draw_view(page, cell, scale, area, stage, colour, progress)?;
    }
    for cell in &cells {
        let at = (
            cell.at.x + cell.at.width / 2.0,
            cell.at.bottom() + CAPTION - 9.0,
        );
        page.text(cell.view.title(), at, &style::NOTE, Align::Middle);
    }
    scale_bar(page, area, scale);
    Ok(())
}

fn draw_view(
    page: &mut Page,
    cell: &Cell,
    scale: f32,
    area: Rect,
    stage: &Stage,
    colour: &(impl Fn(SurfacePoint) -> [f64; 3] + Sync),
    progress: &Progress,
) -> Result<(), SheetError> {
    if matches!(cell.view, View::Front | View::Back | View::Left | View::Right) {
        let y = cell.at.bottom() + 0.5;
        let (from, to) = (cell.at.x - 10.0, cell.at.right() + 10.0);
        page.line((from, y), (to, y), style::LINE, 1.0);
    }
    // Free space for the shadow; what lies beneath shows through, so cells may overlap.
    let margin = (0.3 * cell.at.width.max(cell.at.height))
        .min(120.0)
        .min(cell.at.y + cell.at.height * 0.5);
    let px = page.scale();
    let margin_px = (margin * px).round();
    let width_px = (cell.at.width * px).round() + 2.0 * margin_px;
    let height_px = (cell.at.height * px).round() + 2.0 * margin_px;
    let frame = Frame {
        width: f64::from(width_px),
        height: f64::from(height_px),
        margin: f64::from(margin_px),
    };
    let mut camera = Camera::fitted(cell.view, stage.surface().mesh(), frame);
    if cell.view.keeps_scale() {
        camera.lens = Lens::Orthographic {
            height_mm: f64::from(height_px / px / scale),
        };
    }
    let render = Render {
        width_px: width_px as u32,
        height_px: height_px as u32,
        background: Background::Clear,
        ..Render::of(camera)
    };
    let image = render.run(stage, colour, progress)?;
    let corner = |v: f32| (v * px).round() as i32 - margin_px as i32;
    page.picture(&image, (corner(cell.at.x), corner(cell.at.y)));
    page.note(cell.view.title(), cell.at);
    debug_assert!(area.width > 0.0);
    Ok(())
}

/// Size of a view in mm of the part as shown.
fn size_mm(mesh: &Mesh, view: View) -> (f32, f32) {
    let (wide, high) = view.extent_mm(mesh);
    let factor = match view.keeps_scale() {
        true => 1.0,
        false => LARGER,
    };
    (
        (wide as f32 * factor).max(1e-3),
        (high as f32 * factor).max(1e-3),
    )
}

/// Tries every way of breaking the views into rows; gives the one with the largest scale,
/// in page units to a millimetre.
fn packed(mesh: &Mesh, views: &[View], area: Rect) -> (Vec<Cell>, f32) {
    let sizes: Vec<(f32, f32)> = views.iter().map(|&v| size_mm(mesh, v)).collect();
    let breaks = views.len().saturating_sub(1).min(12);
    let best = (0..1_u32 << breaks)
        .map(|pattern| rows_of(&sizes, pattern))
        .map(|rows| (scale_of(&rows, &sizes, area), rows))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let Some((scale, rows)) = best else {
        return (Vec::new(), 1.0);
    };
    (placed(&rows, &sizes, views, scale, area), scale)
}

/// Index ranges of the rows when bit `i` of a pattern breaks after view `i`.
fn rows_of(sizes: &[(f32, f32)], pattern: u32) -> Vec<std::ops::Range<usize>> {
    let mut rows = Vec::new();
    let mut start = 0;
    for i in 0..sizes.len() {
        if i + 1 == sizes.len() || pattern & (1 << i) != 0 {
            rows.push(start..i + 1);
            start = i + 1;
        }
    }
    rows
}

fn row_size(row: &[(f32, f32)]) -> (f32, f32) {
    let wide = row.iter().map(|s| s.0).sum();
    let high = row.iter().map(|s| s.1).fold(0.0, f32::max);
    (wide, high)
}

fn scale_of(rows: &[std::ops::Range<usize>], sizes: &[(f32, f32)], area: Rect) -> f32 {
    let mut scale = f32::INFINITY;
    let mut high = 0.0;
    for row in rows {
        let size = row_size(&sizes[row.clone()]);
        let gaps = GAP * row.len() as f32;
        scale = scale.min((area.width - gaps).max(1.0) / size.0);
        high += size.1;
    }
    let captions = (CAPTION + GAP * 0.5) * rows.len() as f32;
    scale.min((area.height - captions).max(1.0) / high)
}

/// Views of a row stand on one line, spread evenly; rows are spread evenly.
fn placed(
    rows: &[std::ops::Range<usize>],
    sizes: &[(f32, f32)],
    views: &[View],
    scale: f32,
    area: Rect,
) -> Vec<Cell> {
    let high: f32 = rows
        .iter()
        .map(|row| row_size(&sizes[row.clone()]).1 * scale + CAPTION)
        .sum();
    let between = (area.height - high) / rows.len().max(1) as f32;
    let mut y = area.y + between / 2.0;
    let mut cells = Vec::with_capacity(views.len());
    for row in rows {
        let (wide, high) = row_size(&sizes[row.clone()]);
        let gap = (area.width - wide * scale) / row.len() as f32;
        let mut x = area.x + gap / 2.0;
        for i in row.clone() {
            let (width, height) = (sizes[i].0 * scale, sizes[i].1 * scale);
            cells.push(Cell {
                view: views[i],
                at: Rect {
                    x,
                    y: y + high * scale - height,
                    width,
                    height,
                },
            });
            x += width + gap;
        }
        y += high * scale + CAPTION + between;
    }
    cells
}

/// A bar of a round length, for the straight views.
fn scale_bar(page: &mut Page, area: Rect, scale: f32) {
    let most = f64::from(110.0 / scale);
    let power = 10f64.powf(most.log10().floor());
    let length = [5.0, 2.0, 1.0]
        .into_iter()
        .map(|m| m * power)
        .find(|l| *l <= most)
        .unwrap_or(power);
    let width = length as f32 * scale;
    let y = area.bottom() - 14.0;
    let ends = [
        (area.x, y - 4.0),
        (area.x, y),
        (area.x + width, y),
        (area.x + width, y - 4.0),
    ];
    page.lines(&ends, style::SOFT, 1.0);
    let text = format!("{length} mm in the straight views");
    page.text(
        &text,
        (area.x + width + 10.0, y + 1.0),
        &style::NOTE,
        Align::Left,
    );
}
