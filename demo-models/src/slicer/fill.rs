//! Parallel lines across an area.

use super::recipe::Strip;
use super::shape::Area;

/// Lines shorter than this are left out, mm.
const SHORTEST_MM: f64 = 0.2;

/// Fills an area with parallel lines, there and back, at a distance and an angle in degrees.
pub(super) fn lines(area: &Area, spacing_mm: f64, angle_deg: f64) -> Vec<Strip> {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    let turned: Vec<Vec<[f64; 2]>> = area
        .contours()
        .map(|c| {
            c.iter()
                .map(|p| [p[0] * cos + p[1] * sin, p[1] * cos - p[0] * sin])
                .collect()
        })
        .collect();
    let heights = turned.iter().flatten().map(|p| p[1]);
    let (low, high) = heights.fold((f64::MAX, f64::MIN), |(l, h), y| (l.min(y), h.max(y)));
    if !(low < high && spacing_mm > 0.01) {
        return Vec::new();
    }
    // The grid stands on the origin, so that layers lie on one another.
    let first = (low / spacing_mm).floor() as i64;
    let last = (high / spacing_mm).ceil() as i64;
    let mut strips = Vec::new();
    for row in first..=last {
        let y = (row as f64 + 0.5) * spacing_mm;
        let mut crossings = crossings(&turned, y);
        crossings.sort_by(f64::total_cmp);
        let (pairs, _) = crossings.as_chunks();
        let mut spans: Vec<[f64; 2]> = pairs
            .iter()
            .copied()
            .filter(|s| s[1] - s[0] > SHORTEST_MM)
            .collect();
        if row % 2 != 0 {
            spans.reverse();
            spans.iter_mut().for_each(|s| s.swap(0, 1));
        }
        strips.extend(spans.iter().map(|span| {
            Strip {
                points: span
                    .map(|x| [x * cos - y * sin, x * sin + y * cos])
                    .to_vec(),
                closed: false,
            }
        }));
    }
    strips
}

/// Where the level line at `y` crosses the contours.
fn crossings(contours: &[Vec<[f64; 2]>], y: f64) -> Vec<f64> {
    let mut found = Vec::new();
    for contour in contours {
        let next = contour.iter().cycle().skip(1);
        for (a, b) in contour.iter().zip(next) {
            if (a[1] > y) != (b[1] > y) {
                found.push(a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
            }
        }
    }
    found
}
