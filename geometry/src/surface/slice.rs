//! Triangles cut by level planes, without gaps between neighbours.

use glam::DVec3;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use crate::Mesh;

/// A vertex this near to a plane lies on it, mm.
const ON_MM: f64 = 1e-6;

/// Whether level planes, whose heights in mm rise, would change anything of a mesh.
pub(super) fn changes(mesh: &Mesh, planes_mm: &[f64]) -> bool {
    let (low, high) = mesh.bounds();
    let near = planes_mm.partition_point(|&p| p < low.z - ON_MM);
    let beyond = planes_mm.partition_point(|&p| p <= high.z + ON_MM);
    let planes = planes_mm.get(near..beyond).unwrap_or_default();
    // At the very ends there is nothing to cut, unless a vertex is beside the plane.
    planes
        .iter()
        .any(|&plane| match plane == low.z || plane == high.z {
            false => true,
            true => {
                let beside = |v: &DVec3| v.z != plane && (v.z - plane).abs() <= ON_MM;
                mesh.vertices().iter().any(beside)
            }
        })
}

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
    by_planes_with_sides(vertices, triangles, planes_mm).0
}

/// For each side that was cut, from its lesser vertex to the other, the planes that cut it from
/// the lowest up, and where: the vertex.
pub(super) type CutSides = FxHashMap<(u32, u32), Vec<(usize, u32)>>;

/// As [`by_planes`], with the sides that were cut.
pub(super) fn by_planes_with_sides<T: Copy>(
    vertices: &mut Vec<DVec3>,
    triangles: impl Iterator<Item = ([u32; 3], T)>,
    planes_mm: &[f64],
) -> (Vec<([u32; 3], T)>, CutSides) {
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
    let mut sides: CutSides = FxHashMap::default();
    for (&(a, b, plane), &vertex) in &cut.crossings {
        sides.entry((a, b)).or_default().push((plane, vertex));
    }
    sides
        .values_mut()
        .for_each(|on_side| on_side.sort_unstable());
    (cut.triangles, sides)
}

impl<T: Copy> Cut<'_, T> {
    fn z(&self, vertex: u32) -> f64 {
        self.vertices.get(vertex as usize).map_or(0.0, |v| v.z)
    }

    /// Cuts a triangle by all planes it straddles at once: between two of them lies one piece,
    /// of no more than three triangles, so what comes of it grows as the planes do.
    fn add(&mut self, triangle: [u32; 3], carried: T) {
        let mut rising = [0, 1, 2];
        rising.sort_by(|&i, &j| self.z(triangle[i]).total_cmp(&self.z(triangle[j])));
        let [low, middle, high] = rising.map(|i| triangle[i]);
        let [bottom, bend, top] = [low, middle, high].map(|v| self.z(v));
        // One way up is the long side, the other goes by the middle corner.
        let turned = (rising[1] + 1) % 3 == rising[0];
        let first = self.planes.partition_point(|&p| p <= bottom);
        let beyond = self.planes.partition_point(|&p| p < top);
        let mut long = low;
        let (mut short, mut bends) = match bend > bottom {
            true => (low, true),
            false => (middle, false),
        };
        for plane in first..beyond {
            let at = self.planes[plane];
            let next_long = self.crossing(low, high, plane, at);
            let bends_here = bends && bend < at;
            let next_short = if bend == at {
                middle
            } else if bend > at {
                self.crossing(low, middle, plane, at)
            } else {
                self.crossing(middle, high, plane, at)
            };
            let corner = bends_here.then_some(middle);
            self.piece(
                [long, next_long, next_short, short],
                corner,
                turned,
                carried,
            );
            bends &= bend > at;
            (long, short) = (next_long, next_short);
        }
        let last = if bends && bend == top { middle } else { high };
        let corner = (bends && bend < top).then_some(middle);
        self.piece([long, high, last, short], corner, turned, carried);
    }

    /// Puts a piece out, given up the long way and down the other, on which there may be a corner.
    fn piece(&mut self, sides: [u32; 4], corner: Option<u32>, turned: bool, carried: T) {
        let [a, b, c, d] = sides;
        let outline = [Some(a), Some(b), Some(c), corner, Some(d)];
        let mut outline: SmallVec<[u32; 5]> = outline.into_iter().flatten().collect();
        outline.dedup();
        if outline.first() == outline.last() {
            outline.pop();
        }
        for i in 2..outline.len() {
            let [p, q, r] = [outline[0], outline[i - 1], outline[i]];
            let triangle = if turned { [p, q, r] } else { [p, r, q] };
            self.triangles.push((triangle, carried));
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
