//! One facet at a time, in double precision: nearest points, and where rays meet it.

use glam::DVec3;

/// The square of height over side below which a triangle counts as its sides.
const FLAT: f64 = 1e-10;

/// The point of a triangle nearest to `p`.
///
/// A triangle whose height is less than 1e-5 of its longest side counts as its sides, for rounding
/// would decide where between them the foot is.
///
/// Source: C. Ericson, *Real-Time Collision Detection*, 2005, section 5.1.5 (Voronoi
/// regions of a triangle), from memory.
pub(crate) fn nearest_on(corners: [DVec3; 3], p: DVec3) -> DVec3 {
    let [a, b, c] = corners;
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(ap), ac.dot(ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(bp), ac.dot(bp));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(cp), ac.dot(cp));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let vc = d1 * d4 - d3 * d2;
    let vb = d5 * d2 - d1 * d6;
    let va = d3 * d6 - d5 * d4;
    // The region of a side: the foot lies outside of the side, and between its ends.
    if vc <= 0.0 && d1 > 0.0 && d3 < 0.0 {
        return a + ab * (d1 / (d1 - d3));
    }
    if vb <= 0.0 && d2 > 0.0 && d6 < 0.0 {
        return a + ac * (d2 / (d2 - d6));
    }
    let (on_bc, beyond) = (d4 - d3, d5 - d6);
    if va <= 0.0 && on_bc > 0.0 && beyond > 0.0 {
        return b + (c - b) * (on_bc / (on_bc + beyond));
    }
    let whole = va + vb + vc;
    let scale = ab.length_squared().max(ac.length_squared());
    if va > 0.0 && vb > 0.0 && vc > 0.0 && whole > FLAT * scale * scale {
        return a + ab * (vb / whole) + ac * (vc / whole);
    }
    nearest_on_sides(corners, p)
}

/// The nearest point of a triangle's sides: for triangles with no area to speak of.
fn nearest_on_sides([a, b, c]: [DVec3; 3], p: DVec3) -> DVec3 {
    let on_sides = [(a, b), (b, c), (c, a)].map(|(u, v)| nearest_on_segment(u, v, p));
    let [mut best, second, third] = on_sides;
    for other in [second, third] {
        if other.distance_squared(p) < best.distance_squared(p) {
            best = other;
        }
    }
    best
}

/// The point of the segment `a..b` nearest to `p`; a segment without length is its start.
pub(crate) fn nearest_on_segment(a: DVec3, b: DVec3, p: DVec3) -> DVec3 {
    let ab = b - a;
    let along = (p - a).dot(ab);
    let whole = ab.length_squared();
    if along <= 0.0 || whole <= 0.0 {
        a
    } else if along >= whole {
        b
    } else {
        a + ab * (along / whole)
    }
}

/// Whether a triangle comes within a distance of the segment between two points.
///
/// Source: C. Ericson, *Real-Time Collision Detection*, 2005, section 5.1.9 and 5.1.10 (segments,
/// and a segment and a triangle), from memory.
pub(crate) fn comes_within(corners: [DVec3; 3], ends: [DVec3; 2], limit: f64) -> bool {
    let within = |a: DVec3, b: DVec3| a.distance_squared(b) <= limit * limit;
    let centre = (corners[0] + corners[1] + corners[2]) / 3.0;
    let size = corners.map(|c| c.distance_squared(centre));
    let size = size.into_iter().fold(0.0, f64::max).sqrt();
    let off = nearest_on_segment(ends[0], ends[1], centre).distance(centre);
    if off - size > limit {
        return false;
    }
    if off <= limit
        || ends
            .iter()
            .any(|&end| within(nearest_on(corners, end), end))
    {
        return true;
    }
    if ends[0] == ends[1] {
        return false;
    }
    let sides = [0, 1, 2].map(|i| [corners[i], corners[(i + 1) % 3]]);
    if sides.iter().any(|&side| {
        let (p, q) = nearest_of_segments(side, ends);
        within(p, q)
    }) {
        return true;
    }
    // The segment may go through the middle of the triangle.
    let normal = (corners[1] - corners[0]).cross(corners[2] - corners[0]);
    let [a, b] = ends.map(|end| (end - corners[0]).dot(normal));
    let through = ends[0].lerp(ends[1], a / (a - b));
    (a > 0.0) != (b > 0.0) && within(nearest_on(corners, through), through)
}

/// The points of two segments that are nearest to each other.
fn nearest_of_segments([a, b]: [DVec3; 2], [c, d]: [DVec3; 2]) -> (DVec3, DVec3) {
    let (u, v, w) = (b - a, d - c, a - c);
    let (uu, uv, vv) = (u.dot(u), u.dot(v), v.dot(v));
    let over = uu * vv - uv * uv;
    let share = match over > 1e-12 * uu * vv {
        true => ((uv * v.dot(w) - vv * u.dot(w)) / over).clamp(0.0, 1.0),
        false => 0.0,
    };
    // From a point of the first to the second and back is enough, as the ends are clamped.
    let on_second = nearest_on_segment(c, d, a + u * share);
    let on_first = nearest_on_segment(a, b, on_second);
    (on_first, nearest_on_segment(c, d, on_first))
}

/// A ray made ready for many triangles: sheared so that it runs along one axis.
///
/// The test lets no ray slip between two facets that share an edge.
/// Source: S. Woop, C. Benthin, I. Wald, "Watertight Ray/Triangle Intersection",
/// *Journal of Computer Graphics Techniques* 2(1), 2013, from memory.
pub(crate) struct ShearedRay {
    from: DVec3,
    axes: [usize; 3],
    shear: DVec3,
}

impl ShearedRay {
    /// `direction` must not be zero.
    pub(crate) fn new(from: DVec3, direction: DVec3) -> Self {
        let size = direction.abs();
        let z = if size.x >= size.y && size.x >= size.z {
            0
        } else if size.y >= size.z {
            1
        } else {
            2
        };
        let (mut x, mut y) = ((z + 1) % 3, (z + 2) % 3);
        if direction[z] < 0.0 {
            std::mem::swap(&mut x, &mut y);
        }
        let shear = DVec3::new(direction[x], direction[y], 1.0) * (1.0 / direction[z]);
        Self {
            from,
            axes: [x, y, z],
            shear,
        }
    }

    /// A place seen from the ray's start, along which its third axis runs.
    #[inline(always)]
    fn sheared(&self, place: DVec3) -> (f64, f64, f64) {
        let [x, y, z] = self.axes;
        let place = place - self.from;
        let along = place[z];
        (
            place[x] - self.shear.x * along,
            place[y] - self.shear.y * along,
            self.shear.z * along,
        )
    }

    /// How far along the ray, in lengths of its direction, it meets the triangle.
    #[inline(always)]
    pub(crate) fn meets(&self, corners: [DVec3; 3]) -> Option<f64> {
        let [a, b, c] = corners;
        let (a, b, c) = (self.sheared(a), self.sheared(b), self.sheared(c));
        let u = c.0 * b.1 - c.1 * b.0;
        let v = a.0 * c.1 - a.1 * c.0;
        let w = b.0 * a.1 - b.1 * a.0;
        if (u < 0.0 || v < 0.0 || w < 0.0) && (u > 0.0 || v > 0.0 || w > 0.0) {
            return None;
        }
        let whole = u + v + w;
        if whole == 0.0 {
            return None;
        }
        let t = (u * a.2 + v * b.2 + w * c.2) / whole;
        (t >= 0.0).then_some(t)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The nearest of the foot in the plane, if it lies inside, and of the points of the sides.
    fn nearest_of_all(corners: [DVec3; 3], p: DVec3) -> f64 {
        let [a, b, c] = corners;
        let normal = (b - a).cross(c - a).normalize_or_zero();
        let foot = p - normal * normal.dot(p - a);
        let inside = [(a, b), (b, c), (c, a)]
            .iter()
            .all(|&(u, v)| (v - u).cross(foot - u).dot(normal) >= 0.0);
        let on_sides = nearest_on_sides(corners, p).distance(p);
        match inside && normal != DVec3::ZERO {
            true => foot.distance(p).min(on_sides),
            false => on_sides,
        }
    }

    fn corner() -> impl Strategy<Value = DVec3> {
        prop::array::uniform3(-1.0..1.0f64).prop_map(DVec3::from)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        /// Wherever the point is, and however flat the triangle: down to one without a height.
        #[test]
        fn no_point_of_the_triangle_is_nearer(
            a in corner(),
            b in corner(),
            along in -0.5..1.5f64,
            off in corner(),
            flat in prop::sample::select(vec![0.0, 1e-13, 1e-9, 1e-7, 1e-5, 1e-3, 1.0]),
            p in corner(),
            near in prop::sample::select(vec![0.0, 1e-3, 1.0]),
        ) {
            let c = a.lerp(b, along) + off * flat;
            for corners in [[a, b, c], [b, c, a], [c, a, b], [a, c, b]] {
                let p = corners[0].lerp(corners[2], 0.3) * (1.0 - near) + p * near;
                let found = nearest_on(corners, p).distance(p);
                let wanted = nearest_of_all(corners, p);
                let [ab, ac] = [corners[1] - corners[0], corners[2] - corners[0]];
                let longest = ab.length().max(ac.length()).max(ab.distance(ac));
                // Its height in shares of its longest side.
                let height = ab.cross(ac).length() / (longest * longest);
                let off = if height > 1e-3 { 1e-9 } else { 1e-5 * longest };
                prop_assert!((found - wanted).abs() <= off, "{found} {wanted}");
            }
        }
    }
}
