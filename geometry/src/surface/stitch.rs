//! Sides that have a neighbour's vertex in their midst are cut there, so that a closed skin
//! stays closed.

use glam::DVec3;
use rustc_hash::FxHashMap;

/// A vertex this near to a side lies on it, as a part of the side's length.
const ON_SIDE: f64 = 1e-6;

/// Cuts triangles where the end of a neighbour's side lies on theirs. What does not fit for
/// another reason (an open mesh) is left as it is.
pub fn stitch<T: Copy>(vertices: &[DVec3], triangles: &mut Vec<([u32; 3], T)>) {
    // Each round halves the sides that don't fit; more rounds than this have never been needed.
    for _ in 0..32 {
        let loose = loose_sides(triangles);
        if loose.is_empty() {
            return;
        }
        let mut starts: FxHashMap<u32, Vec<u32>> = FxHashMap::default();
        for &(from, to) in loose.keys() {
            starts.entry(from).or_default().push(to);
        }
        let mut cuts: Vec<(usize, usize, u32)> = Vec::new();
        for (&(a, b), &(triangle, side)) in &loose {
            // The neighbour goes from b over p to a.
            let through = starts.get(&b).into_iter().flatten();
            let found = through
                .filter(|&&p| loose.contains_key(&(p, a)) && lies_on(vertices, (a, b), p))
                .min();
            if let Some(&p) = found {
                cuts.push((triangle, side, p));
            }
        }
        // One cut to a triangle and round; in order, so that the result is always the same.
        cuts.sort_unstable();
        cuts.dedup_by_key(|cut| cut.0);
        if cuts.is_empty() {
            return;
        }
        for (index, side, p) in cuts {
            let Some((triangle, carried)) = triangles.get(index).copied() else {
                continue;
            };
            let [a, b, c] = [0, 1, 2].map(|i| triangle[(side + i) % 3]);
            if let Some(place) = triangles.get_mut(index) {
                place.0 = [a, p, c];
            }
            triangles.push(([p, b, c], carried));
        }
    }
}

/// Whether a vertex lies on a side, between its ends.
fn lies_on(vertices: &[DVec3], (a, b): (u32, u32), p: u32) -> bool {
    let place = |v: u32| vertices.get(v as usize).copied().unwrap_or_default();
    let (from, way) = (place(a), place(b) - place(a));
    let along = (place(p) - from).dot(way) / way.length_squared();
    let off = (place(p) - from - way * along).length();
    p != a && p != b && along > 0.0 && along < 1.0 && off <= ON_SIDE * way.length()
}

/// Sides that no other triangle runs along the other way: their triangle, and which of its sides
/// they are.
fn loose_sides<T>(triangles: &[([u32; 3], T)]) -> FxHashMap<(u32, u32), (usize, usize)> {
    let mut sides: FxHashMap<(u32, u32), (usize, usize)> = FxHashMap::default();
    let mut all = FxHashMap::default();
    for (index, (triangle, _)) in triangles.iter().enumerate() {
        for side in 0..3 {
            let (from, to) = (triangle[side], triangle[(side + 1) % 3]);
            *all.entry((from, to)).or_insert(0u32) += 1;
            sides.insert((from, to), (index, side));
        }
    }
    sides.retain(|&(from, to), _| {
        all.get(&(from, to)).copied().unwrap_or(0) > all.get(&(to, from)).copied().unwrap_or(0)
    });
    sides
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The corners of a square, and a point on its diagonal.
    fn square() -> Vec<DVec3> {
        [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.4, 0.4)]
            .map(|(x, y)| DVec3::new(x, y, 2.0))
            .to_vec()
    }

    #[test]
    fn a_vertex_in_a_side_is_taken_in() {
        // The side 0-2 has the vertex 4 in it, on one side only.
        let mut triangles = vec![([0, 1, 2], 'a'), ([0, 4, 3], 'b'), ([4, 2, 3], 'b')];
        stitch(&square(), &mut triangles);
        assert_eq!(triangles.len(), 4);
        let inner: Vec<_> = triangles.iter().filter(|t| t.1 == 'a').collect();
        assert_eq!(inner.len(), 2);
        assert!(inner.iter().all(|t| t.0.contains(&4) && t.0.contains(&1)));
    }

    #[test]
    fn an_open_shape_is_left_alone() {
        let mut triangles = vec![([0, 1, 2], ())];
        stitch(&square(), &mut triangles);
        assert_eq!(triangles, [([0, 1, 2], ())]);
    }
}
