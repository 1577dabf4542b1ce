//! Polygons cut into facets.

use glam::{DVec2, DVec3};

/// Corners beyond which a polygon is cut as a fan whatever its shape, since cutting ears
/// takes time with the square of the corners.
const MOST_EARS: usize = 2000;

/// Cuts a polygon, given by its corners in order, into triangles of corner numbers.
///
/// Triangles and convex polygons become a fan; others lose one ear after another, seen
/// along the polygon's mean normal (Newell's method). The triangles always use every side
/// of the polygon once, so neighbours stay joined.
pub(super) fn triangles(corners: &[DVec3], mut emit: impl FnMut([usize; 3])) {
    let count = corners.len();
    if count < 3 {
        return;
    }
    let flat = flattened(corners);
    let convex = (0..count).all(|i| turn(&flat, [i, (i + 1) % count, (i + 2) % count]) >= 0.0);
    if count > MOST_EARS || convex {
        (1..count - 1).for_each(|i| emit([0, i, i + 1]));
        return;
    }
    let mut left: Vec<usize> = (0..count).collect();
    while left.len() > 3 {
        let at = find_ear(&flat, &left).unwrap_or(1);
        let [before, ear, after] = around(&left, at);
        emit([before, ear, after]);
        left.remove(at);
    }
    emit([left[0], left[1], left[2]]);
}

/// The corners in the plane across the mean normal, counter-clockwise on the whole.
fn flattened(corners: &[DVec3]) -> Vec<DVec2> {
    let origin = corners[0];
    let sides = corners.iter().zip(corners.iter().cycle().skip(1));
    let normal: DVec3 = sides.map(|(&a, &b)| (a - origin).cross(b - origin)).sum();
    let (u, v) = normal
        .try_normalize()
        .unwrap_or(DVec3::Z)
        .any_orthonormal_pair();
    corners
        .iter()
        .map(|&p| DVec2::new((p - origin).dot(u), (p - origin).dot(v)))
        .collect()
}

/// Twice the area of a triangle, positive when it turns left.
fn turn(flat: &[DVec2], [a, b, c]: [usize; 3]) -> f64 {
    (flat[b] - flat[a]).perp_dot(flat[c] - flat[a])
}

fn around(left: &[usize], at: usize) -> [usize; 3] {
    let count = left.len();
    [
        left[(at + count - 1) % count],
        left[at],
        left[(at + 1) % count],
    ]
}

/// A corner that turns left and whose triangle holds no other corner.
fn find_ear(flat: &[DVec2], left: &[usize]) -> Option<usize> {
    (0..left.len()).find(|&at| {
        let ear @ [a, b, c] = around(left, at);
        turn(flat, ear) > 0.0
            && !left.iter().any(|&p| {
                !ear.contains(&p)
                    && turn(flat, [a, b, p]) >= 0.0
                    && turn(flat, [b, c, p]) >= 0.0
                    && turn(flat, [c, a, p]) >= 0.0
            })
    })
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
    fn odd_polygons_do_no_harm() {
        assert_eq!(cut(&[]).0, 0);
        assert_eq!(cut(&[DVec3::ZERO; 2]).0, 0);
        assert_eq!(cut(&[DVec3::ZERO; 6]).0, 4);
        let crossed = [DVec3::ZERO, DVec3::ONE, DVec3::X, DVec3::Y, DVec3::NEG_X];
        assert_eq!(cut(&crossed).0, 3);
    }
}
