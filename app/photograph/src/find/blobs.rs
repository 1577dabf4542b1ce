//! Dark patches, and those among them that are quadrilaterals.

use super::shrunk::Grey;
use crate::homography::Point;

/// A patch smaller than this is no mark that could be read, px.
const SMALLEST_PX: usize = 14;
/// The share of its hull that a quadrilateral's four corners must span.
const LEAST_SPANNED: f64 = 0.9;

/// The corners of dark quadrilaterals, clockwise as seen, from the one nearest the upper left.
pub(super) fn quadrilaterals(grey: &Grey) -> Vec<[Point; 4]> {
    let mut dark = grey.dark();
    let (width, height) = (grey.width, grey.height);
    let largest = width.max(height) / 2;
    let mut stack = Vec::new();
    let mut found = Vec::new();
    for start in 0..width * height {
        if !dark.get(start).copied().unwrap_or(false) {
            continue;
        }
        // Each row's first and last pixel is all that a hull needs.
        let mut rows: Vec<Option<(usize, usize)>> = Vec::new();
        let top = start / width;
        let (mut left, mut right) = (usize::MAX, 0);
        stack.push(start);
        take(&mut dark, start);
        while let Some(at) = stack.pop() {
            let (x, y) = (at % width, at / width);
            (left, right) = (left.min(x), right.max(x));
            // Filling begins at the topmost row.
            let row = y.saturating_sub(top);
            if rows.len() <= row {
                rows.resize(row + 1, None);
            }
            if let Some(ends) = rows.get_mut(row) {
                let (from, to) = ends.unwrap_or((x, x));
                *ends = Some((from.min(x), to.max(x)));
            }
            let beside = [
                (x > 0).then(|| at - 1),
                (x + 1 < width).then_some(at + 1),
                (y > 0).then(|| at - width),
                (y + 1 < height).then_some(at + width),
            ];
            stack.extend(
                beside
                    .into_iter()
                    .flatten()
                    .filter(|at| take(&mut dark, *at)),
            );
        }
        let size = (right - left + 1, rows.len());
        let fits = |side: usize| (SMALLEST_PX..=largest).contains(&side);
        if fits(size.0) && fits(size.1) {
            found.extend(corners(&outline(&rows, top)));
        }
    }
    found
}

/// Takes a dark pixel away; whether it was there.
fn take(dark: &mut [bool], at: usize) -> bool {
    dark.get_mut(at).is_some_and(std::mem::take)
}

/// The corners of the pixels at both ends of all rows.
fn outline(rows: &[Option<(usize, usize)>], top: usize) -> Vec<Point> {
    let mut points = Vec::with_capacity(4 * rows.len());
    for (i, row) in rows.iter().enumerate() {
        if let Some((from, to)) = row {
            let y = (top + i) as f64;
            let (from, to) = (*from as f64, (*to + 1) as f64);
            points.extend([(from, y), (to, y), (from, y + 1.0), (to, y + 1.0)]);
        }
    }
    points
}

/// The four corners that a convex outline has, if it has four.
fn corners(points: &[Point]) -> Option<[Point; 4]> {
    let hull = hull(points);
    let count = hull.len() as f64;
    let middle = hull.iter().fold((0.0, 0.0), |sum, p| {
        (sum.0 + p.0 / count, sum.1 + p.1 / count)
    });
    let apart = |a: Point, b: Point| (a.0 - b.0).hypot(a.1 - b.1);
    let farthest = |from: Point| {
        hull.iter()
            .copied()
            .max_by(|a, b| apart(*a, from).total_cmp(&apart(*b, from)))
    };
    let first = farthest(middle)?;
    let third = farthest(first)?;
    // On which side of the diagonal, and how far.
    let off = |p: Point| cross(first, third, p);
    let by_side = |a: &&Point, b: &&Point| off(**a).total_cmp(&off(**b));
    let second = *hull.iter().max_by(by_side)?;
    let fourth = *hull.iter().min_by(by_side)?;
    let found = [first, second, third, fourth];
    let spanned = area(&found);
    let convex = (0..4).all(|i| {
        let corner = |k: usize| found.get((i + k) % 4).copied().unwrap_or_default();
        cross(corner(0), corner(1), corner(2)) * spanned > 0.0
    });
    if !convex || spanned.abs() < LEAST_SPANNED * area(&hull).abs() {
        return None;
    }
    let mut found = found;
    if spanned < 0.0 {
        found.reverse();
    }
    Some(found)
}

fn cross(a: Point, b: Point, c: Point) -> f64 {
    (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0)
}

/// The signed area; positive clockwise as seen, for y points down.
fn area(polygon: &[Point]) -> f64 {
    let next = polygon.iter().cycle().skip(1);
    let twice: f64 = polygon
        .iter()
        .zip(next)
        .map(|(a, b)| a.0 * b.1 - a.1 * b.0)
        .sum();
    twice / 2.0
}

/// The convex hull (Andrew's monotone chain, *Information Processing Letters* 9, 216, 1979; from
/// memory).
fn hull(points: &[Point]) -> Vec<Point> {
    let mut points = points.to_vec();
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut chain = half_hull(points.iter().copied());
    let mut back = half_hull(points.iter().rev().copied());
    chain.pop();
    back.pop();
    chain.extend(back);
    chain
}

fn half_hull(points: impl Iterator<Item = Point>) -> Vec<Point> {
    let mut chain: Vec<Point> = Vec::new();
    for point in points {
        while let [.., a, b] = chain.as_slice() {
            if cross(*a, *b, point) > 0.0 {
                break;
            }
            chain.pop();
        }
        chain.push(point);
    }
    chain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_has_four_corners_and_a_disc_has_none() {
        let square: Vec<Point> = (0..=10)
            .flat_map(|i| {
                let t = f64::from(i);
                [(t, 0.0), (10.0, t), (t, 10.0), (0.0, t)]
            })
            .collect();
        let found = corners(&square).unwrap();
        assert!((area(&found) - 100.0).abs() < 1e-9);
        let disc: Vec<Point> = (0..100)
            .map(|i| (f64::from(i) * 0.0628).sin_cos())
            .collect();
        assert!(corners(&disc).is_none());
    }
}
