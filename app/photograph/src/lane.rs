//! How much the card's lane looks covered, cell by cell: its left half is ink and its right half
//! paper, so a sample of any colour covers one of them visibly.

use crate::card;
use crate::scene::Scene;

/// What is looked at, mm: the lane and the blank paper beside it.
const LEFT_MM: f64 = 60.0;
const TOP_MM: f64 = 1.0;
/// A cell, mm.
pub(crate) const CELL_MM: f64 = 0.5;
/// Cells across.
pub(crate) const COLUMNS: usize = 120;
/// Cells down.
pub(crate) const ROWS: usize = 496;

/// What may be covered or not: worth nothing either way.
const NEITHER: f64 = 1.0 / 3.0;
/// How near an edge of what is printed nothing can be said, mm.
const NEAR_MM: f64 = 0.9;

/// The middle of a column, mm.
pub(crate) fn x_mm(column: usize) -> f64 {
    LEFT_MM + CELL_MM * (column as f64 + 0.5)
}

/// The middle of a row, mm.
pub(crate) fn y_mm(row: usize) -> f64 {
    TOP_MM + CELL_MM * (row as f64 + 0.5)
}

/// The first row whose middle is at a place or below it.
pub(crate) fn row_from(y_mm: f64) -> usize {
    ((y_mm - TOP_MM) / CELL_MM - 0.5)
        .ceil()
        .clamp(0.0, ROWS as f64) as usize
}

/// How far a point lies outside of what is looked at, mm; 0 inside.
pub(crate) fn beyond_mm(x: f64, y: f64) -> f64 {
    let off = |at: f64, from: f64, cells: usize| {
        let to = from + CELL_MM * cells as f64;
        f64::max(from - at, at - to)
    };
    off(x, LEFT_MM, COLUMNS).max(off(y, TOP_MM, ROWS)).max(0.0)
}

/// What the lane shows, cell by cell.
pub(crate) struct Lane {
    /// How much it looks covered, 0 to 1, rows from the top.
    covered: Vec<f64>,
    /// Sums of what covering a cell is worth over all cells to its left, one more than columns.
    worth: Vec<f64>,
}

impl Lane {
    pub(crate) fn of(scene: &Scene<'_>) -> Self {
        let ink = ink(scene);
        let covered = (0..ROWS * COLUMNS).map(|i| {
            let (x, y) = (x_mm(i % COLUMNS), y_mm(i / COLUMNS));
            let share = seen(scene, x, y);
            match (near_an_edge(x, y), card::lane_is_inked(x, y)) {
                (true, _) => NEITHER,
                (false, true) => not_ink(share, ink),
                (false, false) => not_paper(share),
            }
        });
        let covered: Vec<f64> = covered.collect();
        let mut worth = Vec::with_capacity(ROWS * (COLUMNS + 1));
        for row in covered.chunks(COLUMNS) {
            let mut sum = 0.0;
            worth.push(sum);
            for covered in row {
                // A cell that looks covered is worth one, and one that does not costs half: the
                // sample may look like what it lies on, but what it lies on never like it.
                sum += 1.5 * covered - 0.5;
                worth.push(sum);
            }
        }
        Self { covered, worth }
    }

    /// What covering a row between two places is worth, mm².
    pub(crate) fn worth(&self, row: usize, (from, to): (f64, f64)) -> f64 {
        let sum = |x: f64| {
            let place = ((x - LEFT_MM) / CELL_MM).clamp(0.0, COLUMNS as f64);
            let (whole, part) = (place.floor(), place.fract());
            let first = row * (COLUMNS + 1) + whole as usize;
            let at = |i: usize| self.worth.get(i).copied().unwrap_or(0.0);
            match part > 0.0 {
                true => at(first) + part * (at(first + 1) - at(first)),
                false => at(first),
            }
        };
        (sum(to) - sum(from)) * CELL_MM * CELL_MM
    }

    pub(crate) fn covered(&self, row: usize, column: usize) -> f64 {
        self.covered
            .get(row * COLUMNS + column)
            .copied()
            .unwrap_or(0.0)
    }
}

/// The share of the paper's light at a cell.
fn seen(scene: &Scene<'_>, x: f64, y: f64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (dx, dy) in [(-0.12, -0.12), (0.12, -0.12), (-0.12, 0.12), (0.12, 0.12)] {
        let at = scene.view.project([x + dx, y + dy, 0.0]);
        let light = at.and_then(|at| scene.photo.at(at)).unwrap_or_default();
        for (sum, light) in sum.iter_mut().zip(light) {
            *sum += light / 4.0;
        }
    }
    scene.light.of_paper_there(sum, (x, y))
}

/// The ink's share of the paper's light, the middle one of all marks.
fn ink(scene: &Scene<'_>) -> f64 {
    let mut all: Vec<f64> = card::inked()
        .map(|rect| {
            let pixels = crate::patch::pixels(scene.photo, &scene.view, rect, 0.0);
            let mean = crate::patch::mean(pixels.iter().map(|(light, _)| *light));
            let share = scene.light.of_paper_there(mean, rect.centre());
            share.into_iter().fold(0.0, f64::max)
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(0.05)
}

/// How little something looks like ink.
fn not_ink(share: [f64; 3], ink: f64) -> f64 {
    let most = share.into_iter().fold(0.0, f64::max);
    ((most.sqrt() - ink.sqrt() - 0.06) / 0.1).clamp(0.0, 1.0)
}

/// Whether ink and paper meet nearby, so that a blurred picture shows neither.
fn near_an_edge(x: f64, y: f64) -> bool {
    let lane = card::LANE;
    let near = |a: f64, b: f64| (a - b).abs() < NEAR_MM;
    let beside = |edge: f64| near(x, edge) && y > lane.y.0 - NEAR_MM && y < lane.y.1 + NEAR_MM;
    let across =
        |edge: f64| near(y, edge) && x > lane.x.0 - NEAR_MM && x < card::LANE_MIDDLE_MM + NEAR_MM;
    let foot_line = near(y, card::FOOT_LINE_MM) && (x < lane.x.0 || x > lane.x.1);
    beside(lane.x.0)
        || beside(card::LANE_MIDDLE_MM)
        || across(lane.y.0)
        || across(lane.y.1)
        || foot_line
}

/// How little something looks like paper. What may be a shadow of the sample counts for neither.
fn not_paper(share: [f64; 3]) -> f64 {
    let (least, most) = share
        .into_iter()
        .fold((f64::MAX, 0.0_f64), |(a, b), v| (a.min(v), b.max(v)));
    let coloured = ((1.0 - least / most.max(1e-6) - 0.15) / 0.15).clamp(0.0, 1.0);
    let dark = match most {
        v if v >= 0.97 => 0.0,
        v if v >= 0.9 => NEITHER * (0.97 - v) / 0.07,
        v if v >= 0.42 => NEITHER,
        v => (NEITHER + (0.42 - v) / 0.15).min(1.0),
    };
    coloured.max(dark)
}
