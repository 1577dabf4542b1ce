//! Polygons cut into facets.

use glam::{DVec2, DVec3};

use super::Problem;

/// Corners beyond which a polygon is cut as a fan whatever its shape, since cutting ears
/// takes time with the square of the corners.
const MOST_EARS: usize = 2000;

/// How often all corners of one polygon are looked at anew when no ear is known.
const MOST_LOOKS: usize = 8;

/// Cuts a polygon, given by its corners in order, into triangles of corner numbers.
///
/// Triangles and convex polygons become a fan; others lose one ear after another, seen
/// along the polygon's mean normal (Newell's method). The triangles always use every side
/// of the polygon once, so neighbours stay joined. Time grows with the square of the corners
/// at most.
pub(super) fn triangles(corners: &[DVec3], mut emit: impl FnMut([usize; 3])) {
    let count = corners.len();
    if count < 3 {
        return;
    }
    let flat: Vec<Corner> = flattened(corners);
    let after = |steps| flat.iter().cycle().skip(steps);
    let mut turns = flat.iter().zip(after(1)).zip(after(2));
    let convex = turns.all(|((a, b), c)| turn(a, b, c) >= 0.0);
    if count > MOST_EARS || convex {
        (2..count).for_each(|i| emit([0, i - 1, i]));
        return;
    }
    let mut left = Left::new(flat);
    while let Some(ear) = left.cut() {
        emit(ear);
    }
}

/// Cuts a polygon of numbered vertices, given with their places, into facets of them.
pub(super) fn facets(
    places: &[DVec3],
    numbers: &[u32],
    mut take: impl FnMut([u32; 3]) -> Result<(), Problem>,
) -> Result<(), Problem> {
    let mut outcome = Ok(());
    triangles(places, |[a, b, c]| {
        if let (Ok(()), Some(&a), Some(&b), Some(&c)) =
            (&outcome, numbers.get(a), numbers.get(b), numbers.get(c))
        {
            outcome = take([a, b, c]);
        }
    });
    outcome
}

/// A corner in the plane across the mean normal, with its number.
#[derive(Clone, Copy, Debug)]
struct Corner {
    number: usize,
    at: DVec2,
}

/// What is left of a polygon.
struct Left {
    corners: Vec<Corner>,
    /// Whether each corner is known to be an ear.
    ears: Vec<bool>,
    looks: usize,
}

impl Left {
    fn new(corners: Vec<Corner>) -> Self {
        let mut left = Self {
            corners,
            ears: Vec::new(),
            looks: 0,
        };
        left.look();
        left
    }

    /// Looks at all corners.
    fn look(&mut self) {
        self.looks += 1;
        self.ears = (0..self.corners.len()).map(|at| self.is_ear(at)).collect();
    }

    /// Cuts off a triangle; none when nothing is left.
    fn cut(&mut self) -> Option<[usize; 3]> {
        let count = self.corners.len();
        if count < 3 {
            return None;
        }
        let mut ear = self.ears.iter().position(|e| *e);
        if ear.is_none() && count > 3 && self.looks < MOST_LOOKS {
            self.look();
            ear = self.ears.iter().position(|e| *e);
        }
        // A polygon that crosses itself may have none: any corner will do.
        let at = ear.unwrap_or(1);
        let [before, tip, after] = self.around(at)?;
        if count == 3 {
            self.corners.clear();
            self.ears.clear();
        } else {
            self.corners.remove(at);
            self.ears.remove(at);
            let left = count - 1;
            for neighbour in [(at + left - 1) % left, at % left] {
                let is_ear = self.is_ear(neighbour);
                if let Some(slot) = self.ears.get_mut(neighbour) {
                    *slot = is_ear;
                }
            }
        }
        Some([before.number, tip.number, after.number])
    }

    fn around(&self, at: usize) -> Option<[Corner; 3]> {
        let count = self.corners.len();
        let get = |i: usize| self.corners.get(i % count).copied();
        Some([get(at + count - 1)?, get(at)?, get(at + 1)?])
    }

    /// Whether a corner turns left and its triangle holds no other corner.
    fn is_ear(&self, at: usize) -> bool {
        let Some([a, b, c]) = self.around(at) else {
            return false;
        };
        let own = [a.number, b.number, c.number];
        turn(&a, &b, &c) > 0.0
            && !self.corners.iter().any(|p| {
                turn(&a, &b, p) >= 0.0
                    && turn(&b, &c, p) >= 0.0
                    && turn(&c, &a, p) >= 0.0
                    && !own.contains(&p.number)
            })
    }
}

/// The corners in the plane across the mean normal, counter-clockwise on the whole.
fn flattened(corners: &[DVec3]) -> Vec<Corner> {
    let origin = corners.first().copied().unwrap_or_default();
    let sides = corners.iter().zip(corners.iter().cycle().skip(1));
    let normal: DVec3 = sides.map(|(&a, &b)| (a - origin).cross(b - origin)).sum();
    let (u, v) = normal
        .try_normalize()
        .unwrap_or(DVec3::Z)
        .any_orthonormal_pair();
    let placed = corners.iter().enumerate();
    placed
        .map(|(number, &p)| Corner {
            number,
            at: DVec2::new((p - origin).dot(u), (p - origin).dot(v)),
        })
        .collect()
}

/// Twice the area of a triangle, positive when it turns left.
#[inline]
fn turn(a: &Corner, b: &Corner, c: &Corner) -> f64 {
    (b.at - a.at).perp_dot(c.at - a.at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(corners: &[DVec3]) -> (usize, f64, DVec3) {
        let (mut count, mut area, mut vector) = (0, 0.0, DVec3::ZERO);
        triangles(corners, |[a, b, c]| {
            let piece = (corners[b] - corners[a]).cross(corners[c] - corners[a]) * 0.5;
            count += 1;
            area += piece.length();
            vector += piece;
        });
        (count, area, vector)
    }

    #[test]
    fn a_dented_polygon_is_covered_once() {
        let arrow = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (2.0, 1.0), (0.0, 4.0)]
            .map(|(x, y)| DVec3::new(x, 5.0, -y));
        for start in 0..arrow.len() {
            let mut turned = arrow.to_vec();
            turned.rotate_left(start);
            let (count, area, vector) = cut(&turned);
            // Shoelace: 10.
            assert_eq!(count, 3);
            assert!((area - 10.0).abs() < 1e-12 && (vector.length() - 10.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_comb_is_covered_once_and_soon() {
        // Teeth up and down: as many dents as points.
        let teeth = 900;
        let upper = (0..teeth).map(|i| DVec3::new(-f64::from(i), f64::from(i % 2) * 50.0, 0.0));
        let lower = (0..teeth).rev();
        let lower = lower.map(|i| DVec3::new(-f64::from(i), f64::from(i % 2) * 50.0 - 1.0, 0.0));
        let comb: Vec<DVec3> = upper.chain(lower).collect();
        let (count, area, vector) = cut(&comb);
        assert_eq!(count, comb.len() - 2);
        // A band 1 mm high all along.
        assert!((area - f64::from(teeth - 1)).abs() < 1e-6, "{area}");
        assert!((vector.length() - area).abs() < 1e-6);
    }

    #[test]
    fn odd_polygons_do_no_harm() {
        assert_eq!(cut(&[]).0, 0);
        assert_eq!(cut(&[DVec3::ZERO; 2]).0, 0);
        assert_eq!(cut(&[DVec3::ZERO; 6]).0, 4);
        let crossed = [DVec3::ZERO, DVec3::ONE, DVec3::X, DVec3::Y, DVec3::NEG_X];
        assert_eq!(cut(&crossed).0, 3);
    }

    #[test]
    fn beyond_two_thousand_corners_a_polygon_is_cut_as_a_fan() {
        let cuts = |count: usize| {
            // A ring with a dent at its second corner, where a fan would leave it.
            let corner = |i: usize| {
                let angle = i as f64 / count as f64 * std::f64::consts::TAU;
                let radius = if i == 1 { 0.5 } else { 1.0 };
                DVec3::new(radius * angle.cos(), radius * angle.sin(), 0.0)
            };
            let corners: Vec<DVec3> = (0..count).map(corner).collect();
            let mut found = Vec::new();
            triangles(&corners, |triangle| found.push(triangle));
            found
        };
        let fan = |count: usize| -> Vec<_> { (1..count - 1).map(|i| [0, i, i + 1]).collect() };
        assert_ne!(cuts(MOST_EARS), fan(MOST_EARS));
        assert_eq!(cuts(MOST_EARS + 1), fan(MOST_EARS + 1));
    }
}
