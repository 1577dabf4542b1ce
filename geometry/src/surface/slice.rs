//! Triangles cut by level planes, without gaps between neighbours.

use glam::DVec3;
use rustc_hash::FxHashMap;

/// A vertex this near to a plane lies on it, mm.
const ON_MM: f64 = 1e-6;

/// A mesh that is cut: vertices, and for each triangle what it carries with it.
struct Cut<'a, T> {
    vertices: &'a mut Vec<DVec3>,
    triangles: Vec<([u32; 3], T)>,
    /// Where a side was cut: neighbours share it.
    crossings: FxHashMap<(u32, u32, usize), u32>,
    planes: &'a [f64],
}

/// Cuts triangles by level planes, whose heights in mm rise. Each triangle then lies between two
/// of them and carries what the one it came from did. Neighbours still share their vertices, so
/// what was closed stays closed. New vertices are added at the end.
pub fn by_planes<T: Copy>(
    vertices: &mut Vec<DVec3>,
    triangles: impl Iterator<Item = ([u32; 3], T)>,
    planes_mm: &[f64],
) -> Vec<([u32; 3], T)> {
    // A vertex next to a plane is put onto it, once for all triangles that have it.
    for vertex in vertices.iter_mut() {
        let after = planes_mm.partition_point(|&p| p < vertex.z - ON_MM);
        if let Some(&plane) = planes_mm.get(after)
            && (vertex.z - plane).abs() <= ON_MM
        {
            vertex.z = plane;
        }
    }
    let mut cut = Cut {
        vertices,
        triangles: Vec::new(),
        crossings: FxHashMap::default(),
        planes: planes_mm,
    };
    for (triangle, carried) in triangles {
        cut.add(triangle, carried);
    }
    cut.triangles
}

impl<T: Copy> Cut<'_, T> {
    fn z(&self, vertex: u32) -> f64 {
        self.vertices.get(vertex as usize).map_or(0.0, |v| v.z)
    }

    fn add(&mut self, triangle: [u32; 3], carried: T) {
        let mut rest = vec![triangle];
        while let Some(triangle) = rest.pop() {
            let z = triangle.map(|v| self.z(v));
            let low = z.into_iter().fold(f64::INFINITY, f64::min);
            let high = z.into_iter().fold(f64::NEG_INFINITY, f64::max);
            let plane = self.planes.partition_point(|&p| p <= low);
            match self.planes.get(plane) {
                Some(&at) if at < high => self.split(triangle, plane, at, &mut rest),
                _ => self.triangles.push((triangle, carried)),
            }
        }
    }

    /// Cuts a triangle by the lowest plane that it straddles.
    fn split(&mut self, triangle: [u32; 3], plane: usize, at: f64, out: &mut Vec<[u32; 3]>) {
        let side = triangle.map(|v| {
            let z = self.z(v);
            i8::from(z > at) - i8::from(z < at)
        });
        // Turned so that the corner alone comes first: one on the plane, or one on its side.
        let first = match side.iter().position(|&s| s == 0) {
            Some(on) => on,
            None => (0..3)
                .find(|&i| side[(i + 1) % 3] == side[(i + 2) % 3])
                .unwrap_or(0),
        };
        let [a, b, c] = [0, 1, 2].map(|i| triangle[(first + i) % 3]);
        if side[first] == 0 {
            let p = self.crossing(b, c, plane, at);
            out.extend([[a, b, p], [a, p, c]]);
        } else {
            let (p, q) = (
                self.crossing(a, b, plane, at),
                self.crossing(a, c, plane, at),
            );
            out.extend([[a, p, q], [p, b, c], [p, c, q]]);
        }
    }

    fn crossing(&mut self, a: u32, b: u32, plane: usize, at: f64) -> u32 {
        let (a, b) = (a.min(b), a.max(b));
        if let Some(&known) = self.crossings.get(&(a, b, plane)) {
            return known;
        }
        let place = |v: u32| self.vertices.get(v as usize).copied().unwrap_or_default();
        let (from, to) = (place(a), place(b));
        let t = ((at - from.z) / (to.z - from.z)).clamp(0.0, 1.0);
        let mut point = from.lerp(to, t);
        point.z = at;
        self.vertices.push(point);
        let new = self.vertices.len() as u32 - 1;
        self.crossings.insert((a, b, plane), new);
        new
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn area(vertices: &[DVec3], t: [u32; 3]) -> f64 {
        let [a, b, c] = t.map(|v| vertices[v as usize]);
        0.5 * (b - a).cross(c - a).length()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// A closed shape stays closed and keeps its area, and no triangle straddles a plane.
        #[test]
        fn what_was_closed_stays_closed(
            corners in prop::collection::vec(prop::array::uniform3(-10.0..10.0f64), 4),
            mut planes in prop::collection::vec(-10.0..10.0f64, 0..6),
            level in 0usize..4,
        ) {
            let mut vertices: Vec<DVec3> = corners.into_iter().map(DVec3::from).collect();
            planes.push(vertices[level].z);
            planes.sort_by(f64::total_cmp);
            let faces = [[0, 1, 2], [0, 3, 1], [1, 3, 2], [2, 3, 0]];
            let before: f64 = faces.iter().map(|&t| area(&vertices, t)).sum();
            let cut = by_planes(&mut vertices, faces.into_iter().map(|t| (t, ())), &planes);
            let after: f64 = cut.iter().map(|c| area(&vertices, c.0)).sum();
            prop_assert!((before - after).abs() < 1e-4 * before.max(1.0));
            let mut edges = std::collections::HashMap::new();
            for ([a, b, c], ()) in cut {
                for (from, to) in [(a, b), (b, c), (c, a)] {
                    *edges.entry((from.min(to), from.max(to))).or_insert(0) += if from < to { 1 } else { -1 };
                }
                let z = [a, b, c].map(|v| vertices[v as usize].z);
                for &plane in &planes {
                    prop_assert!(!(z.iter().any(|&z| z < plane) && z.iter().any(|&z| z > plane)));
                }
            }
            prop_assert!(edges.values().all(|&n| n == 0));
        }
    }
}
