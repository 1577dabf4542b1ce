//! Polygons cut into facets.

use glam::{DVec2, DVec3};
use rustc_hash::FxHashMap;
use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};

/// Corners beyond which a polygon is not cut by its ears if there is another way, since
/// that takes time with the square of the corners.
const FEW: usize = 300;

/// The most corners of a polygon that touches or crosses itself, which only ears can cut.
const MOST_EARS: usize = 4000;

/// A polygon of very many corners that touches or crosses itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a face of {corners} corners touches or crosses itself; export it cut into triangles")]
pub(crate) struct Tangled {
    corners: usize,
}

/// How often all corners of one polygon are looked at anew when no ear is known.
const MOST_LOOKS: usize = 8;

/// Cuts a polygon, given by its corners in order, into triangles of corner numbers.
///
/// Triangles and convex polygons become a fan; others lose one ear after another, seen
/// along the polygon's mean normal (Newell's method). Long ones are cut by a constrained
/// Delaunay triangulation instead, so that time stays near linear. The triangles always use
/// every side of the polygon once, so neighbours stay joined.
///
/// # Errors
/// [`Tangled`], before anything is emitted.
pub(crate) fn triangles(
    corners: &[DVec3],
    mut emit: impl FnMut([usize; 3]),
) -> Result<(), Tangled> {
    let count = corners.len();
    if count < 3 {
        return Ok(());
    }
    let flat: Vec<Corner> = flattened(corners);
    let after = |steps| flat.iter().cycle().skip(steps);
    let mut turns = flat.iter().zip(after(1)).zip(after(2));
    let convex = turns.all(|((a, b), c)| turn(a, b, c) >= 0.0);
    if convex {
        (2..count).for_each(|i| emit([0, i - 1, i]));
        return Ok(());
    }
    if count > FEW {
        if let Some(pieces) = delaunay(&flat) {
            pieces.into_iter().for_each(emit);
            return Ok(());
        }
        if count > MOST_EARS {
            return Err(Tangled { corners: count });
        }
    }
    let mut left = Left::new(flat);
    while let Some(ear) = left.cut() {
        emit(ear);
    }
    Ok(())
}

/// The triangles of a constrained Delaunay triangulation that lie within the polygon; none
/// where it touches or crosses itself.
fn delaunay(flat: &[Corner]) -> Option<Vec<[usize; 3]>> {
    let mut web = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
    let mut handles = Vec::with_capacity(flat.len());
    for corner in flat {
        let handle = web.insert(Point2::new(corner.at.x, corner.at.y)).ok()?;
        if handle.index() != handles.len() {
            return None; // Two corners at one place.
        }
        handles.push(handle);
    }
    for (&from, &to) in handles.iter().zip(handles.iter().cycle().skip(1)) {
        if !web.can_add_constraint(from, to) {
            return None;
        }
        web.add_constraint(from, to);
    }
    let inside = inside(&web);
    let pieces: Vec<[usize; 3]> = web
        .inner_faces()
        .filter(|face| inside.get(face.index()) == Some(&Some(true)))
        .map(|face| face.vertices().map(|v| v.index()))
        .collect();
    // A side that runs through another corner was cut there, and there are more.
    (pieces.len() == flat.len() - 2).then_some(pieces)
}

/// Fills outlines in a plane with triangles: `sides` run counter-clockwise about what is to be
/// filled, all of them together, and `at` tells where their ends lie. Every side is used as it
/// is, and there are no new corners; none where sides cross, or two corners are at one place.
pub(crate) fn fill_outlines(
    sides: &[[u32; 2]],
    at: impl Fn(u32) -> DVec2,
) -> Option<Vec<[u32; 3]>> {
    let mut corners: Vec<(DVec2, u32)> = sides.as_flattened().iter().map(|&v| (at(v), v)).collect();
    corners.sort_by(|a, b| a.0.x.total_cmp(&b.0.x).then(a.0.y.total_cmp(&b.0.y)));
    corners.dedup_by_key(|corner| corner.1);
    let mut web = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
    let mut handles = FxHashMap::default();
    for (i, (place, corner)) in corners.iter().enumerate() {
        let handle = web.insert(Point2::new(place.x, place.y)).ok()?;
        if handle.index() != i {
            return None;
        }
        handles.insert(*corner, handle);
    }
    for [from, to] in sides {
        let (from, to) = (*handles.get(from)?, *handles.get(to)?);
        if !web.can_add_constraint(from, to) {
            return None;
        }
        web.add_constraint(from, to);
    }
    let inside = inside(&web);
    let triangles: Vec<[u32; 3]> = web
        .inner_faces()
        .filter(|face| inside.get(face.index()) == Some(&Some(true)))
        .map(|face| face.vertices().map(|v| corners[v.index()].1))
        .collect();
    // Every side once, and between triangles every other one both ways.
    let mut left: FxHashMap<[u32; 2], i32> = FxHashMap::default();
    for [a, b, c] in &triangles {
        for [from, to] in [[*a, *b], [*b, *c], [*c, *a]] {
            *left.entry([from.min(to), from.max(to)]).or_default() +=
                if from < to { 1 } else { -1 };
        }
    }
    for &[from, to] in sides {
        *left.entry([from.min(to), from.max(to)]).or_default() -= if from < to { 1 } else { -1 };
    }
    left.values().all(|count| *count == 0).then_some(triangles)
}

/// Of every face, whether an odd number of the polygon's sides lies between it and the
/// outside.
fn inside(web: &ConstrainedDelaunayTriangulation<Point2<f64>>) -> Vec<Option<bool>> {
    let mut neighbours = vec![Vec::new(); web.num_all_faces()];
    for edge in web.directed_edges() {
        let other = (edge.rev().face().index(), edge.is_constraint_edge());
        if let Some(list) = neighbours.get_mut(edge.face().index()) {
            list.push(other);
        }
    }
    let mut inside = vec![None; neighbours.len()];
    let mut pending = vec![(web.outer_face().index(), false)];
    while let Some((face, within)) = pending.pop() {
        let Some(slot @ None) = inside.get_mut(face) else {
            continue;
        };
        *slot = Some(within);
        let beside = neighbours.get(face).into_iter().flatten();
        pending.extend(beside.map(|&(other, side)| (other, within != side)));
    }
    inside
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
        let done = triangles(corners, |[a, b, c]| {
            let piece = (corners[b] - corners[a]).cross(corners[c] - corners[a]) * 0.5;
            count += 1;
            area += piece.length();
            vector += piece;
        });
        assert_eq!(done, Ok(()));
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

    /// A comb again, with tens of thousands of dents.
    #[test]
    fn many_corners_are_covered_once() {
        for count in [3000, 60_000] {
            let radius = |i: usize| if i.is_multiple_of(2) { 10.0 } else { 9.0 };
            let corner = |i: usize| {
                let angle = i as f64 / count as f64 * std::f64::consts::TAU;
                DVec3::new(angle.cos(), angle.sin(), 0.0) * radius(i)
            };
            let corners: Vec<DVec3> = (0..count).map(corner).collect();
            let (pieces, area, vector) = cut(&corners);
            assert_eq!(pieces, count - 2);
            // Shoelace: as many triangles of the two radii with the angle between them.
            let exact = 0.5 * count as f64 * 90.0 * (std::f64::consts::TAU / count as f64).sin();
            assert!((area - exact).abs() < 1e-6 * exact, "{area} {exact}");
            assert!((vector.length() - area).abs() < 1e-6 * exact);
        }
    }

    #[test]
    fn a_long_polygon_that_crosses_itself_is_refused() {
        let bend = |i: usize| DVec3::new((i * i % 97) as f64, (i * 31 % 89) as f64, 0.0);
        let crossed: Vec<DVec3> = (0..MOST_EARS + 1).map(bend).collect();
        let mut pieces = 0;
        let refused = triangles(&crossed, |_| pieces += 1).unwrap_err();
        assert_eq!((refused.corners, pieces), (MOST_EARS + 1, 0));
        assert!(refused.to_string().contains("4001 corners"));
        assert_eq!(cut(&crossed[..MOST_EARS]).0, MOST_EARS - 2);
    }
}
