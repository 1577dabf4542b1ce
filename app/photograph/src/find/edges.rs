//! A mark's corners between pixels: lines through the points where its edges cross half the
//! light, in linear light, where blur moves an edge to neither side.

use crate::Photo;
use crate::homography::Point;

/// Where an edge is looked at.
const ALONG: usize = 24;
/// How far points may stray from a line before they are left out, in standard deviations.
const STRAY: f64 = 2.5;

/// A mark's outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// The corners, px.
    pub corners: [Point; 4],
    /// How wide the edges are from a tenth to nine tenths, px: the middle one of all places.
    pub width_px: f64,
}

/// A line by a point and a direction.
type Line = (Point, Point);

/// The outline near rough corners that go clockwise; a cell is so many px wide.
pub(super) fn refined(photo: &Photo, rough: [Point; 4], cell_px: f64) -> Option<Edge> {
    let mut widths = Vec::new();
    let mut lines = Vec::new();
    let next = rough.iter().cycle().skip(1);
    for (from, to) in rough.iter().zip(next) {
        let mut points = Vec::new();
        for i in 0..ALONG {
            // Near the corners two edges are in view.
            let t = 0.1 + 0.8 * (i as f64 + 0.5) / ALONG as f64;
            if let Some((point, width)) = crossing(photo, (*from, *to), t, cell_px) {
                points.push(point);
                widths.push(width);
            }
        }
        if points.len() < ALONG / 2 {
            return None;
        }
        lines.push(line(&points)?);
    }
    let [top, right, bottom, left] = lines.as_slice() else {
        return None;
    };
    let corners = [
        meeting(left, top)?,
        meeting(top, right)?,
        meeting(right, bottom)?,
        meeting(bottom, left)?,
    ];
    let near = corners.iter().zip(rough);
    let moved = near
        .map(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1))
        .fold(0.0, f64::max);
    widths.sort_by(f64::total_cmp);
    let width_px = widths.get(widths.len() / 2).copied()?;
    (moved < 1.5 * cell_px).then_some(Edge { corners, width_px })
}

/// Where an edge crosses half the light on its normal, and how wide it is.
fn crossing(photo: &Photo, (from, to): Line, t: f64, cell_px: f64) -> Option<(Point, f64)> {
    const STEP_PX: f64 = 0.25;
    let along = (to.0 - from.0, to.1 - from.1);
    let length = along.0.hypot(along.1);
    // Corners go clockwise as seen, so this points outwards.
    let out = (along.1 / length, -along.0 / length);
    let base = (from.0 + t * along.0, from.1 + t * along.1);
    let reach_px = (0.45 * cell_px).max(3.0).min(0.8 * cell_px);
    let steps = (2.0 * reach_px / STEP_PX) as usize;
    let place = |i: f64| {
        let off = i * STEP_PX - reach_px;
        (base.0 + off * out.0, base.1 + off * out.1)
    };
    let mut light = Vec::with_capacity(steps + 1);
    for i in 0..=steps {
        light.push(photo.luminance_at(place(i as f64))?);
    }
    let ends = (steps / 8).max(1);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
    let inside = mean(light.get(..ends)?);
    let outside = mean(light.get(light.len() - ends..)?);
    if outside < 1.3 * inside {
        return None;
    }
    let half = (inside + outside) / 2.0;
    let pairs = || light.iter().zip(light.iter().skip(1)).enumerate();
    let (at, (a, b)) = pairs().find(|(_, (a, b))| **a <= half && **b > half)?;
    let steepest = pairs().map(|(_, (a, b))| b - a).fold(0.0, f64::max);
    let width = 0.8 * (outside - inside) / steepest * STEP_PX;
    Some((place(at as f64 + (half - a) / (b - a)), width))
}

/// The line that is nearest to points, without those that stray.
fn line(points: &[Point]) -> Option<Line> {
    let mut kept = points.to_vec();
    let mut best = None;
    for _ in 0..3 {
        let count = kept.len() as f64;
        let middle = kept.iter().fold((0.0, 0.0), |sum, p| {
            (sum.0 + p.0 / count, sum.1 + p.1 / count)
        });
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for p in &kept {
            let (x, y) = (p.0 - middle.0, p.1 - middle.1);
            (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
        }
        let turn = 0.5 * (2.0 * xy).atan2(xx - yy);
        let along = (turn.cos(), turn.sin());
        best = Some((middle, along));
        let off = |p: &Point| (p.0 - middle.0) * -along.1 + (p.1 - middle.1) * along.0;
        let spread = (kept.iter().map(|p| off(p).powi(2)).sum::<f64>() / count).sqrt();
        let before = kept.len();
        kept.retain(|p| off(p).abs() <= (STRAY * spread).max(0.05));
        if kept.len() == before || kept.len() < 6 {
            break;
        }
    }
    best
}

fn meeting((a, u): &Line, (b, v): &Line) -> Option<Point> {
    let across = u.0 * v.1 - u.1 * v.0;
    let t = ((b.0 - a.0) * v.1 - (b.1 - a.1) * v.0) / across;
    let point = (a.0 + t * u.0, a.1 + t * u.1);
    (across.abs() > 0.1 && point.0.is_finite() && point.1.is_finite()).then_some(point)
}
