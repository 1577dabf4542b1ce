//! The views of the part, packed so that they come out as large as the space lets them; the
//! straight ones share one scale, and so do the three-quarter ones.

use std::ops::Range;

use geometry::{Mesh, Progress, SurfacePoint};

use super::error::SheetError;
use crate::page::{Align, Page, Rect, style};
use render::{Background, Camera, Frame, Image, Lens, Render, Stage, View};

const GAP: f32 = 34.0;
const CAPTION: f32 = 30.0;
/// What the scale bar takes at the foot of the block.
const FOOT: f32 = 30.0;

/// Whose colours a view shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Those that the plan asks for.
    Asked,
    /// Those that will come out.
    Printed,
}

/// A view in colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shown {
    /// From where.
    pub view: View,
    /// In which colours. What is printed stands beside what is asked for, so it follows it.
    pub look: Look,
}

impl Shown {
    fn title(self) -> &'static str {
        match self.look {
            Look::Asked => self.view.title(),
            Look::Printed => "The same, as printed",
        }
    }
}

/// A view and where its part lies on the page.
struct Cell {
    shown: Shown,
    at: Rect,
    /// Page units to a mm of the part.
    scale: f32,
}

impl Cell {
    /// Whether another cell is rendered from the same place, as large.
    fn is_twin(&self, other: &Self) -> bool {
        let near = |a: f32, b: f32| (a - b).abs() < 1e-3;
        self.shown.view == other.shown.view
            && near(self.at.width, other.at.width)
            && near(self.at.height, other.at.height)
            && near(self.scale, other.scale)
    }
}

/// Renders and draws the views and the scale bar.
pub(super) fn draw(
    page: &mut Page,
    area: Rect,
    views: &[Shown],
    stage: &Stage,
    colour: &(impl Fn(Look, SurfacePoint) -> [f64; 3] + Sync),
    progress: &Progress,
) -> Result<(), SheetError> {
    let mesh = stage.surface().mesh();
    let room = Rect {
        height: area.height - FOOT,
        ..area
    };
    let packing = Packing::best(mesh, views, room);
    let mut rest = &packing.cells[..];
    while let [cell, others @ ..] = rest {
        progress.stage(&format!(
            "Rendering: {}",
            cell.shown.view.title().to_lowercase()
        ));
        rest = match others {
            [other, others @ ..] if cell.is_twin(other) => {
                draw_twins(page, [cell, other], stage, colour, progress)?;
                others
            }
            _ => {
                draw_view(page, cell, stage, colour, progress)?;
                others
            }
        };
    }
    for cell in &packing.cells {
        let at = (
            cell.at.x + cell.at.width / 2.0,
            cell.at.bottom() + CAPTION - 9.0,
        );
        page.text(cell.shown.title(), at, &style::NOTE, Align::Middle);
    }
    if let Some(scale) = packing.straight_scale {
        scale_bar(page, area, scale);
    }
    Ok(())
}

fn draw_view(
    page: &mut Page,
    cell: &Cell,
    stage: &Stage,
    colour: &(impl Fn(Look, SurfacePoint) -> [f64; 3] + Sync),
    progress: &Progress,
) -> Result<(), SheetError> {
    let (render, margin_px) = set_up(page, cell, stage);
    let image = render.run(stage, |point| colour(cell.shown.look, point), progress)?;
    put(page, cell, &image, margin_px);
    Ok(())
}

/// Draws one view in two looks, from the same rays.
fn draw_twins(
    page: &mut Page,
    cells: [&Cell; 2],
    stage: &Stage,
    colour: &(impl Fn(Look, SurfacePoint) -> [f64; 3] + Sync),
    progress: &Progress,
) -> Result<(), SheetError> {
    let (render, margin_px) = set_up(page, cells[0], stage);
    let looks = |point| cells.map(|cell| colour(cell.shown.look, point));
    let images = render.run_each(stage, looks, progress)?;
    for (cell, image) in cells.iter().zip(&images) {
        put(page, cell, image, margin_px);
    }
    Ok(())
}

/// How a view is rendered, and the free space around the part in it, pixels.
fn set_up(page: &Page, cell: &Cell, stage: &Stage) -> (Render, f32) {
    let view = cell.shown.view;
    // Free space for the shadow; what lies beneath shows through, so cells may overlap.
    let px = page.scale();
    let margin_px = (stage.shadow_reach_mm() as f32 * cell.scale * px).ceil();
    let width_px = (cell.at.width * px).round() + 2.0 * margin_px;
    let height_px = (cell.at.height * px).round() + 2.0 * margin_px;
    let frame = Frame {
        width: f64::from(width_px),
        height: f64::from(height_px),
        margin: f64::from(margin_px),
    };
    let mut camera = Camera::fitted(view, stage.surface().mesh(), frame);
    if view.keeps_scale() {
        camera.lens = Lens::Orthographic {
            height_mm: f64::from(height_px / px / cell.scale),
        };
    }
    let render = Render {
        width_px: width_px as u32,
        height_px: height_px as u32,
        background: Background::Clear,
        ..Render::of(camera)
    };
    (render, margin_px)
}

/// Puts a picture where its view lies.
fn put(page: &mut Page, cell: &Cell, image: &Image, margin_px: f32) {
    if cell.shown.view.keeps_scale() && cell.shown.view != View::Top {
        let y = cell.at.bottom() + 0.5;
        let (from, to) = (cell.at.x - 10.0, cell.at.right() + 10.0);
        page.line((from, y), (to, y), style::LINE, 1.0);
    }
    let px = page.scale();
    let corner = |v: f32| (v * px).round() as i32 - margin_px as i32;
    page.picture(image, (corner(cell.at.x), corner(cell.at.y)));
    page.note(cell.shown.title(), cell.at);
}

/// Where all views lie.
struct Packing {
    cells: Vec<Cell>,
    /// Page units to a mm in the straight views, where there are any.
    straight_scale: Option<f32>,
}

impl Packing {
    /// Tries shares of the space, side by side and one above the other, for the
    /// three-quarter views and the straight ones; takes what covers most of the page.
    fn best(mesh: &Mesh, views: &[Shown], area: Rect) -> Self {
        // Once: it looks at every vertex.
        let measured: Vec<Measured> = views.iter().map(|s| Measured::of(*s, mesh)).collect();
        let (straight, aslant): (Vec<Measured>, Vec<Measured>) =
            measured.iter().partition(|m| m.shown.view.keeps_scale());
        let whole = |views: &[Measured]| Group::best(views, area).map(|g| vec![g]);
        let groups = match (aslant.is_empty(), straight.is_empty()) {
            (true, _) => whole(&straight),
            (_, true) => whole(&aslant),
            _ => halves(area)
                .filter_map(|(one, other)| {
                    let aslant = Group::best(&aslant, one)?;
                    let straight = Group::best(&straight, other)?;
                    let times = aslant.scale / straight.scale;
                    (0.95..2.2).contains(&times).then(|| vec![aslant, straight])
                })
                .max_by(|a, b| covered(a).total_cmp(&covered(b)))
                .or_else(|| whole(&measured)),
        };
        let cells: Vec<Cell> = groups
            .into_iter()
            .flatten()
            .flat_map(|group| group.placed())
            .collect();
        let straight_scale = cells
            .iter()
            .find(|cell| cell.shown.view.keeps_scale())
            .map(|cell| cell.scale);
        Self {
            cells,
            straight_scale,
        }
    }
}

/// Ways to split the space in two.
fn halves(area: Rect) -> impl Iterator<Item = (Rect, Rect)> {
    (6..16).flat_map(move |i| {
        let share = i as f32 / 20.0;
        let (width, height) = (area.width * share, area.height * share);
        let left = Rect { width, ..area };
        let right = Rect {
            x: area.x + width,
            width: area.width - width,
            ..area
        };
        let upper = Rect { height, ..area };
        let lower = Rect {
            y: area.y + height,
            height: area.height - height,
            ..area
        };
        [(left, right), (upper, lower)]
    })
}

/// What a packing covers, less what lies in views that came out very small.
fn covered(groups: &[Group]) -> f32 {
    groups.iter().map(Group::covered).sum()
}

/// A view, and how large the part is in it.
#[derive(Clone, Copy)]
struct Measured {
    shown: Shown,
    /// Width and height, mm, never 0.
    size: (f32, f32),
}

impl Measured {
    fn of(shown: Shown, mesh: &Mesh) -> Self {
        let (wide, high) = shown.view.extent_mm(mesh);
        Self {
            shown,
            size: ((wide as f32).max(1e-3), (high as f32).max(1e-3)),
        }
    }
}

/// Views at one scale, broken into rows.
struct Group {
    views: Vec<Shown>,
    /// Width and height in mm.
    sizes: Vec<(f32, f32)>,
    rows: Vec<Range<usize>>,
    /// Page units to a mm.
    scale: f32,
    area: Rect,
}

impl Group {
    /// Tries every way of breaking the views into rows; takes the largest scale.
    fn best(measured: &[Measured], area: Rect) -> Option<Self> {
        let (views, sizes): (Vec<Shown>, Vec<(f32, f32)>) =
            measured.iter().map(|m| (m.shown, m.size)).unzip();
        let breaks = views.len().saturating_sub(1).min(10);
        (0..1_u32 << breaks)
            .map(|pattern| rows_of(views.len(), pattern))
            .filter(|rows| rows.iter().skip(1).all(|row| !is_second(&views, row.start)))
            .map(|rows| (scale_of(&rows, &sizes, area), rows))
            .filter(|(scale, _)| *scale > 0.0)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(scale, rows)| Self {
                views: views.clone(),
                sizes: sizes.clone(),
                rows,
                scale,
                area,
            })
    }

    fn covered(&self) -> f32 {
        let mm2: f32 = self.sizes.iter().map(|(wide, high)| wide * high).sum();
        mm2 * self.scale * self.scale
    }

    /// Views of a row stand on one line, spread evenly; rows are spread evenly.
    fn placed(self) -> Vec<Cell> {
        let (area, scale) = (self.area, self.scale);
        let size = |row: &Range<usize>| row_size(self.sizes.get(row.clone()).unwrap_or(&[]));
        let high: f32 = self.rows.iter().map(|r| size(r).1 * scale + CAPTION).sum();
        let between = (area.height - high) / self.rows.len().max(1) as f32;
        let mut y = area.y + between / 2.0;
        let mut cells = Vec::with_capacity(self.views.len());
        for row in &self.rows {
            let (wide, high) = size(row);
            let gap = (area.width - wide * scale) / row.len() as f32;
            let mut x = area.x + gap / 2.0;
            let views = self.views.iter().zip(&self.sizes);
            for (&shown, &(width, height)) in views.skip(row.start).take(row.len()) {
                let at = Rect {
                    x,
                    y: y + (high - height) * scale,
                    width: width * scale,
                    height: height * scale,
                };
                cells.push(Cell { shown, at, scale });
                x += at.width + gap;
            }
            y += high * scale + CAPTION + between;
        }
        cells
    }
}

/// Whether a view must stand beside the one before it.
fn is_second(views: &[Shown], index: usize) -> bool {
    views.get(index).is_some_and(|s| s.look == Look::Printed)
}

/// Index ranges of the rows when bit `i` of a pattern breaks after view `i`.
fn rows_of(count: usize, pattern: u32) -> Vec<Range<usize>> {
    let mut rows = Vec::new();
    let mut start = 0;
    for i in 0..count {
        if i + 1 == count || pattern & (1 << i) != 0 {
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

/// The largest scale at which rows fit; not above 0 when they never do.
fn scale_of(rows: &[Range<usize>], sizes: &[(f32, f32)], area: Rect) -> f32 {
    let mut scale = f32::INFINITY;
    let mut high = 0.0;
    for row in rows {
        let size = row_size(sizes.get(row.clone()).unwrap_or(&[]));
        let gaps = GAP * row.len() as f32;
        scale = scale.min((area.width - gaps) / size.0);
        high += size.1;
    }
    let captions = (CAPTION + GAP * 0.4) * rows.len() as f32;
    scale.min((area.height - captions) / high)
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
