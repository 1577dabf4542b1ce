//! Sides that have a neighbour's vertex in their midst are cut there, so that a closed skin
//! stays closed.

use glam::DVec3;
use rustc_hash::FxHashMap;

/// A vertex this near to a side lies on it, as a part of the side's length.
const ON_SIDE: f64 = 1e-6;

/// Cuts triangles where the end of a neighbour's side lies on theirs. What does not fit for
/// another reason (an open mesh) is left as it is.
pub fn stitch<T: Copy>(vertices: &[DVec3], triangles: &mut Vec<([u32; 3], T)>) {
    let mut loose = Loose::of(vertices.len(), triangles);
    // Each round halves the sides that don't fit; more rounds than this have never been needed.
    for _ in 0..32 {
        let cuts = loose.cuts(vertices);
        if cuts.is_empty() {
            return;
        }
        for cut in cuts {
            loose.cut(triangles, cut);
        }
    }
}

/// A side of a triangle: the triangle, and which side it is.
type Side = (usize, usize);

/// A side, and the vertex at which it is to be cut.
type Cut = (usize, usize, u32);

/// The triangles along an edge that may have a side without a partner.
#[derive(Default)]
struct Along {
    /// From the vertex with the lesser index to the other, and back.
    ways: [Vec<Side>; 2],
}

impl Along {
    /// The way of which there is more, and the last side that runs it.
    fn loose(&self) -> Option<(usize, Side)> {
        let [up, down] = &self.ways;
        let (way, sides) = match up.len() > down.len() {
            true => (0, up),
            false if down.len() > up.len() => (1, down),
            false => return None,
        };
        sides.iter().max().map(|&side| (way, side))
    }
}

/// The edges that may have a side without a partner. What was in order and is not cut stays so,
/// and is not looked at again.
struct Loose(FxHashMap<(u32, u32), Along>);

impl Loose {
    /// Sorts all sides by edge and keeps those that don't fit: linear in the triangles.
    fn of<T>(vertex_count: usize, triangles: &[([u32; 3], T)]) -> Self {
        let (starts, mut sides) = by_lower_vertex(vertex_count, triangles);
        let mut loose = FxHashMap::default();
        for (lower, bounds) in (0u32..).zip(starts.windows(2)) {
            let &[begin, end] = bounds else { continue };
            let bucket = sides.get_mut(begin as usize..end as usize);
            let bucket = bucket.unwrap_or_default();
            bucket.sort_unstable();
            for edge in bucket.chunk_by(|a, b| a.upper == b.upper) {
                let up = edge.iter().filter(|side| side.way == 0).count();
                if 2 * up == edge.len() {
                    continue;
                }
                let mut along = Along::default();
                for side in edge {
                    if let Some(way) = along.ways.get_mut(usize::from(side.way)) {
                        way.push((side.triangle as usize, usize::from(side.side)));
                    }
                }
                if let Some(first) = edge.first() {
                    loose.insert((lower, first.upper), along);
                }
            }
        }
        Self(loose)
    }

    /// All sides without a partner, from vertex to vertex.
    fn sides(&self) -> impl Iterator<Item = ((u32, u32), Side)> + '_ {
        self.0.iter().filter_map(|(&(lower, upper), along)| {
            let (way, side) = along.loose()?;
            Some((
                if way == 0 {
                    (lower, upper)
                } else {
                    (upper, lower)
                },
                side,
            ))
        })
    }

    fn is_loose(&self, from: u32, to: u32) -> bool {
        let along = self.0.get(&(from.min(to), from.max(to)));
        let way = along.and_then(Along::loose).map(|(way, _)| way);
        way == Some(usize::from(from > to))
    }

    /// What is to be cut: once in each triangle, in order, so that the result is always the same.
    fn cuts(&self, vertices: &[DVec3]) -> Vec<Cut> {
        let mut starts: FxHashMap<u32, Vec<u32>> = FxHashMap::default();
        for ((from, to), _) in self.sides() {
            starts.entry(from).or_default().push(to);
        }
        let mut cuts: Vec<Cut> = Vec::new();
        for ((a, b), (triangle, side)) in self.sides() {
            // The neighbour goes from b over p to a.
            let through = starts.get(&b).into_iter().flatten();
            let found = through
                .filter(|&&p| self.is_loose(p, a) && lies_on(vertices, (a, b), p))
                .min();
            if let Some(&p) = found {
                cuts.push((triangle, side, p));
            }
        }
        cuts.sort_unstable();
        cuts.dedup_by_key(|cut| cut.0);
        cuts
    }

    /// Cuts a triangle from a vertex on one of its sides to the corner across.
    fn cut<T: Copy>(&mut self, triangles: &mut Vec<([u32; 3], T)>, (index, side, p): Cut) {
        let new = triangles.len();
        let Some((triangle, carried)) = triangles.get_mut(index) else {
            return;
        };
        let [a, b, c] = [0, 1, 2].map(|i| triangle[(side + i) % 3]);
        let carried = *carried;
        *triangle = [a, p, c];
        triangles.push(([p, b, c], carried));
        self.moved((a, b), (index, side), None);
        self.moved((b, c), (index, (side + 1) % 3), Some((new, 1)));
        self.moved((c, a), (index, (side + 2) % 3), Some((index, 2)));
        self.added((a, p), (index, 0));
        self.added((p, b), (new, 0));
        // Between the halves: one side each way.
        if self.0.contains_key(&(p.min(c), p.max(c))) {
            self.added((p, c), (index, 1));
            self.added((c, p), (new, 2));
        }
    }

    /// Tells of a side that it is another one now, or gone.
    fn moved(&mut self, (from, to): (u32, u32), side: Side, now: Option<Side>) {
        let along = self.0.get_mut(&(from.min(to), from.max(to)));
        let way = along.and_then(|along| along.ways.get_mut(usize::from(from > to)));
        if let Some(way) = way {
            way.retain(|other| *other != side);
            way.extend(now);
        }
    }

    fn added(&mut self, (from, to): (u32, u32), side: Side) {
        let along = self.0.entry((from.min(to), from.max(to))).or_default();
        if let Some(way) = along.ways.get_mut(usize::from(from > to)) {
            way.push(side);
        }
    }
}

/// A side in the bucket of its vertex of lesser index.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Bucketed {
    upper: u32,
    triangle: u32,
    side: u8,
    /// 0 from the lesser vertex to the greater, 1 back.
    way: u8,
}

/// All sides, sorted by their vertex of lesser index, and where each vertex's begin.
fn by_lower_vertex<T>(
    vertex_count: usize,
    triangles: &[([u32; 3], T)],
) -> (Vec<u32>, Vec<Bucketed>) {
    let sides = || {
        triangles
            .iter()
            .zip(0u32..)
            .flat_map(|((corners, _), triangle)| {
                let [a, b, c] = *corners;
                let sides = [(0, a, b), (1, b, c), (2, c, a)];
                let proper = sides.into_iter().filter(|(_, from, to)| from != to);
                proper.map(move |(side, from, to)| {
                    let bucketed = Bucketed {
                        upper: from.max(to),
                        triangle,
                        side,
                        way: u8::from(from > to),
                    };
                    (from.min(to) as usize, bucketed)
                })
            })
    };
    let mut starts = vec![0u32; vertex_count + 1];
    for (lower, _) in sides() {
        if let Some(count) = starts.get_mut(lower + 1) {
            *count += 1;
        }
    }
    let mut sum = 0;
    for start in &mut starts {
        sum += *start;
        *start = sum;
    }
    let mut next = starts.clone();
    let mut sorted = vec![Bucketed::default(); sum as usize];
    for (lower, side) in sides() {
        if let Some(place) = next.get_mut(lower) {
            if let Some(slot) = sorted.get_mut(*place as usize) {
                *slot = side;
            }
            *place += 1;
        }
    }
    (starts, sorted)
}

/// Whether a vertex lies on a side, between its ends.
fn lies_on(vertices: &[DVec3], (a, b): (u32, u32), p: u32) -> bool {
    let place = |v: u32| vertices.get(v as usize).copied().unwrap_or_default();
    let (from, way) = (place(a), place(b) - place(a));
    let along = (place(p) - from).dot(way) / way.length_squared();
    let off = (place(p) - from - way * along).length();
    p != a && p != b && along > 0.0 && along < 1.0 && off <= ON_SIDE * way.length()
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

    /// A triangle of which each side has a neighbour's vertex in it takes in one after the other.
    #[test]
    fn every_side_takes_in_the_vertex_on_it() {
        let corners = [DVec3::ZERO, DVec3::X, DVec3::Y];
        let next = |i: usize| (i + 1) % 3;
        let mut vertices = corners.to_vec();
        vertices.extend((0..3).map(|i| corners[i].lerp(corners[next(i)], 0.4)));
        vertices.extend((0..3).map(|i| corners[i] + corners[next(i)] - DVec3::ONE));
        let mut triangles = vec![([0, 1, 2], 'a')];
        for i in 0..3 {
            let [from, to, on, off] = [i, next(i), 3 + i, 6 + i].map(|v| v as u32);
            triangles.extend([([to, on, off], 'b'), ([on, from, off], 'b')]);
        }
        stitch(&vertices, &mut triangles);
        assert_eq!(triangles.iter().filter(|t| t.1 == 'a').count(), 4);
        let runs = |from: u32, to: u32| {
            let has = |t: &[u32; 3]| (0..3).any(|i| (t[i], t[next(i)]) == (from, to));
            triangles.iter().filter(|t| has(&t.0)).count()
        };
        for i in 0..3 {
            let [from, to, on] = [i, next(i), 3 + i].map(|v| v as u32);
            for (a, b) in [(from, on), (on, to)] {
                assert_eq!((runs(a, b), runs(b, a)), (1, 1));
            }
        }
    }

    #[test]
    fn an_open_shape_is_left_alone() {
        let mut triangles = vec![([0, 1, 2], ())];
        stitch(&square(), &mut triangles);
        assert_eq!(triangles, [([0, 1, 2], ())]);
    }
}
