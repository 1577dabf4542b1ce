//! Arcs in place of runs of short straight moves.

/// A part of a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Part {
    /// Straight to a point.
    Line([f64; 2]),
    /// Along an arc to a point.
    Arc {
        to: [f64; 2],
        centre: [f64; 2],
        clockwise: bool,
    },
}

/// Points that an arc must pass at least, its ends included.
const FEWEST: usize = 5;

/// Radii beyond this are straight, mm.
const LARGEST_MM: f64 = 500.0;

/// Splits a chain of points, the first of which is where the machine is, into lines and arcs
/// that keep within a tolerance of every point.
pub(super) fn parts(points: &[[f64; 2]], within_mm: Option<f64>) -> Vec<Part> {
    let mut found = Vec::new();
    let mut ahead = points;
    while let [_, next, ..] = ahead {
        let arc = within_mm.and_then(|tolerance| longest(ahead, tolerance));
        let (taken, part) = arc.unwrap_or((1, Part::Line(*next)));
        found.push(part);
        ahead = ahead.get(taken..).unwrap_or_default();
    }
    found
}

/// The longest arc from the first point on, and how many points it takes.
fn longest(points: &[[f64; 2]], tolerance: f64) -> Option<(usize, Part)> {
    let mut best = None;
    for last in FEWEST - 1..points.len() {
        match through(points.get(..=last)?, tolerance) {
            Some(part) => best = Some((last, part)),
            None => break,
        }
    }
    best
}

fn through(points: &[[f64; 2]], tolerance: f64) -> Option<Part> {
    let (first, to) = (*points.first()?, *points.last()?);
    let centre = circle(first, *points.get(points.len() / 2)?, to)?;
    let radius = distance(first, centre);
    if radius > LARGEST_MM {
        return None;
    }
    let mut sweep = 0.0;
    for &[p, q] in points.array_windows() {
        let middle = [(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0];
        let near = |point| (distance(point, centre) - radius).abs() <= tolerance;
        let turn = angle(p, q, centre);
        if !(near(q) && near(middle)) || sweep * turn < 0.0 {
            return None;
        }
        sweep += turn;
    }
    // Short of a whole turn, so that the ends stay apart.
    (sweep.abs() > 0.05 && sweep.abs() < 6.0).then_some(Part::Arc {
        to,
        centre,
        clockwise: sweep < 0.0,
    })
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The turn from one point to the other about a centre.
fn angle(p: [f64; 2], q: [f64; 2], centre: [f64; 2]) -> f64 {
    let (u, v) = (
        [p[0] - centre[0], p[1] - centre[1]],
        [q[0] - centre[0], q[1] - centre[1]],
    );
    (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1])
}

/// The centre of the circle through three points; `None` if they lie in line.
fn circle(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> Option<[f64; 2]> {
    let (bx, by, cx, cy) = (b[0] - a[0], b[1] - a[1], c[0] - a[0], c[1] - a[1]);
    let d = 2.0 * (bx * cy - by * cx);
    let (b2, c2) = (bx * bx + by * by, cx * cx + cy * cy);
    (d.abs() > 1e-9).then(|| {
        [
            a[0] + (cy * b2 - by * c2) / d,
            a[1] + (bx * c2 - cx * b2) / d,
        ]
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_half_circle_becomes_one_arc_and_a_square_none() {
        let half: Vec<[f64; 2]> = (0..=32)
            .map(|i| f64::from(i) / 32.0 * std::f64::consts::PI)
            .map(|a| [10.0 * a.cos(), 10.0 * a.sin()])
            .collect();
        match parts(&half, Some(0.02)).as_slice() {
            [
                Part::Arc {
                    centre, clockwise, ..
                },
            ] => {
                assert!(centre[0].abs() < 1e-9 && centre[1].abs() < 1e-9 && !clockwise);
            }
            other => panic!("{other:?}"),
        }
        let square = [[0.0, 0.0], [5.0, 0.0], [5.0, 5.0], [0.0, 5.0], [0.0, 0.0]];
        assert_eq!(parts(&square, Some(0.02)).len(), 4);
        assert!(parts(&square[..1], Some(0.02)).is_empty());
    }
}
