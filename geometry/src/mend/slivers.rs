//! Facets that are hardly there, taken out without a gap.
//!
//! A sliver with a short side loses that side: its ends become one vertex. One with a corner
//! next to its longest side is turned with its neighbour there: the two share the other
//! diagonal then; or it loses that corner, where all about it is flat. Each moves the surface
//! by less than a sliver's greatest height (M. Botsch,
//! L. Kobbelt, "A Robust Procedure to Eliminate Degenerate Faces from Triangle Meshes",
//! *Vision, Modeling and Visualization*, 2001, from memory).

use glam::DVec3;
use rustc_hash::{FxHashMap, FxHashSet};
use smallvec::SmallVec;

use crate::Mesh;
use crate::inspect::{Thin, sliver_mm, thin};
use crate::mesh::has_three_corners;

/// Taking one out may leave or make another, which the next pass takes out.
const MOST_PASSES: usize = 32;

/// The mesh without the slivers that can be taken out, and how many went; none if none can.
/// Expects a closed mesh whose solids share no vertex. All that is done moves no more volume
/// than `most_mm3` about.
pub(super) fn taken_out(mesh: &Mesh, most_mm3: f64) -> Option<(Mesh, usize)> {
    let mut work = Work::new(mesh, most_mm3);
    let before = work.slivers().len();
    for _ in 0..MOST_PASSES {
        if !work.pass() {
            break;
        }
    }
    let went = before.saturating_sub(work.slivers().len());
    match went {
        0 => None,
        _ => Some((work.finish()?, went)),
    }
}

struct Work<'a> {
    mesh: &'a Mesh,
    sliver_mm: f64,
    /// How much volume may still be moved, mm³.
    left_mm3: f64,
    /// Facets by their numbers in the mesh; those that went are gone.
    facets: Vec<Option<[u32; 3]>>,
}

/// The facets about each vertex that a sliver has.
type Around = FxHashMap<u32, SmallVec<[u32; 8]>>;

impl<'a> Work<'a> {
    fn new(mesh: &'a Mesh, most_mm3: f64) -> Self {
        // A facet that names a vertex twice has no sides, so nothing needs it.
        let facets = mesh.triangles().iter();
        Self {
            left_mm3: most_mm3,
            sliver_mm: sliver_mm(mesh),
            facets: facets
                .map(|&corners| has_three_corners(corners).then_some(corners))
                .collect(),
            mesh,
        }
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.mesh.vertices()[vertex as usize]
    }

    fn shape(&self, corners: [u32; 3]) -> Thin {
        thin(corners.map(|v| self.at(v)), self.sliver_mm)
    }

    fn slivers(&self) -> Vec<u32> {
        let all = self.facets.iter().zip(0u32..);
        all.filter(|(corners, _)| corners.is_some_and(|c| self.shape(c) != Thin::No))
            .map(|(_, facet)| facet)
            .collect()
    }

    /// Takes out what can be taken out at once; tells whether anything was.
    fn pass(&mut self) -> bool {
        let slivers = self.slivers();
        if slivers.is_empty() {
            return false;
        }
        let around = self.around(&slivers);
        // Vertices about which facets have changed in this pass, so that `around` is no more true.
        let mut stale = FxHashSet::default();
        let mut changed = false;
        for sliver in slivers {
            let Some(corners) = self.facets[sliver as usize] else {
                continue;
            };
            if corners.iter().any(|v| stale.contains(v)) {
                continue;
            }
            changed |= self.lose_side(corners, &around, &mut stale)
                || self.lose_corner(corners, &around, &mut stale)
                || self.turn(sliver, corners, &around, &mut stale);
        }
        changed
    }

    fn around(&self, slivers: &[u32]) -> Around {
        let mut around = Around::default();
        for &sliver in slivers {
            for vertex in self.facets[sliver as usize].into_iter().flatten() {
                around.entry(vertex).or_default();
            }
        }
        for (corners, facet) in self.facets.iter().zip(0u32..) {
            for vertex in corners.iter().flatten() {
                if let Some(facets) = around.get_mut(vertex) {
                    facets.push(facet);
                }
            }
        }
        around
    }

    /// Makes one vertex of the ends of a sliver's shortest side, if that is short.
    fn lose_side(
        &mut self,
        corners: [u32; 3],
        around: &Around,
        stale: &mut FxHashSet<u32>,
    ) -> bool {
        let [a, b, _] = turned(corners, |from, to| -self.at(from).distance(self.at(to)));
        if self.at(a).distance(self.at(b)) > self.sliver_mm {
            return false;
        }
        // A corner of the part should stay, and what lies on one of its edges or faces go.
        let moves = |gone: u32, stays: u32| self.moved_mm3(gone, stays, around);
        let mut ways = [(a, b), (b, a)];
        if moves(b, a) < moves(a, b) {
            ways.reverse();
        }
        ways.into_iter()
            .any(|(gone, stays)| self.join(gone, stays, around, stale))
    }

    /// Takes away the corner next to a sliver's longest side, if all about it is flat.
    fn lose_corner(
        &mut self,
        corners: [u32; 3],
        around: &Around,
        stale: &mut FxHashSet<u32>,
    ) -> bool {
        let [a, b, c] = turned(corners, |from, to| self.at(from).distance(self.at(to)));
        [a, b]
            .into_iter()
            .any(|stays| self.stays_flat(c, stays, around) && self.join(c, stays, around, stale))
    }

    /// How much volume is moved when one vertex goes to another's place, mm³.
    fn moved_mm3(&self, gone: u32, stays: u32, around: &Around) -> f64 {
        let corners = self.corners_about(gone, around);
        corners.map(|c| self.volume_mm3(c, stays)).sum()
    }

    fn corners_about<'w>(
        &'w self,
        vertex: u32,
        around: &'w Around,
    ) -> impl Iterator<Item = [u32; 3]> + 'w {
        let facets = around.get(&vertex).into_iter().flatten();
        facets.filter_map(|&facet| self.facets[facet as usize])
    }

    /// Whether a vertex lies in the plane of each facet about another.
    fn stays_flat(&self, gone: u32, stays: u32, around: &Around) -> bool {
        let at = self.at(stays);
        self.corners_about(gone, around).all(|corners| {
            let [a, b, c] = corners.map(|v| self.at(v));
            let normal = (b - a).cross(c - a).normalize_or_zero();
            self.shape(corners) != Thin::No || (at - a).dot(normal).abs() <= self.sliver_mm
        })
    }

    /// Makes one vertex of two that a side joins, if nothing is against it.
    fn join(&mut self, gone: u32, stays: u32, around: &Around, stale: &mut FxHashSet<u32>) -> bool {
        let (Some(about_gone), Some(about_stays)) = (around.get(&gone), around.get(&stays)) else {
            return false;
        };
        let moved_mm3 = self.moved_mm3(gone, stays, around);
        if moved_mm3 > self.left_mm3 || !self.may_join(gone, stays, about_gone, about_stays) {
            return false;
        }
        self.left_mm3 -= moved_mm3;
        for &facet in about_gone.iter().chain(about_stays) {
            let Some(corners) = self.facets[facet as usize] else {
                continue;
            };
            stale.extend(corners);
            let joined = corners.map(|v| if v == gone { stays } else { v });
            self.facets[facet as usize] = has_three_corners(joined).then_some(joined);
        }
        true
    }

    /// Whether two vertices can become one: the facets on their side are two, no other vertex
    /// is joined to both but those facets' own, and no facet turns over.
    fn may_join(&self, gone: u32, stays: u32, about_gone: &[u32], about_stays: &[u32]) -> bool {
        let corners_of = |facets: &[u32]| -> FxHashSet<u32> {
            let corners = facets.iter().filter_map(|&f| self.facets[f as usize]);
            corners.flatten().collect()
        };
        let both = corners_of(about_gone);
        let common = corners_of(about_stays).intersection(&both).count();
        let facets = about_gone.iter().filter_map(|&f| self.facets[f as usize]);
        let (on_side, others): (Vec<_>, Vec<_>) = facets.partition(|c| c.contains(&stays));
        on_side.len() == 2
            && common == 4
            && others.iter().all(|&corners| {
                let joined = corners.map(|v| if v == gone { stays } else { v });
                self.faces_as(joined, corners)
            })
    }

    /// Whether a facet that replaces another faces as that does; of slivers nobody can say.
    fn faces_as(&self, new: [u32; 3], old: [u32; 3]) -> bool {
        let normal = |corners: [u32; 3]| {
            let [a, b, c] = corners.map(|v| self.at(v));
            (b - a).cross(c - a).normalize_or_zero()
        };
        self.shape(old) != Thin::No || normal(new).dot(normal(old)) > 0.5
    }

    /// Gives a sliver and its neighbour across its longest side the other diagonal.
    fn turn(
        &mut self,
        sliver: u32,
        corners: [u32; 3],
        around: &Around,
        stale: &mut FxHashSet<u32>,
    ) -> bool {
        let [a, b, c] = turned(corners, |from, to| self.at(from).distance(self.at(to)));
        let (Some(about_a), Some(about_c)) = (around.get(&a), around.get(&c)) else {
            return false;
        };
        let on_side = about_a.iter().copied().filter(|&f| {
            f != sliver && self.facets[f as usize].is_some_and(|corners| corners.contains(&b))
        });
        let on_side: SmallVec<[u32; 2]> = on_side.collect();
        let [other] = on_side[..] else {
            return false;
        };
        let Some(theirs) = self.facets[other as usize] else {
            return false;
        };
        let Some(d) = theirs.into_iter().find(|v| *v != a && *v != b) else {
            return false;
        };
        // It runs along the side the other way.
        let place = theirs.iter().position(|v| *v == b);
        let opposed = place.is_some_and(|i| theirs[(i + 1) % 3] == a);
        let joined = |f: &u32| self.facets[*f as usize].is_some_and(|t| t.contains(&d));
        let (first, second) = ([a, d, c], [d, b, c]);
        let moved_mm3 = self.volume_mm3(corners, d);
        // Names go with whole facets, so none may take skin of another's.
        let names = [sliver, other].map(|f| self.mesh.groups().of_facet(f as usize));
        let fits = opposed
            && d != c
            && !stale.contains(&d)
            && !about_c.iter().any(joined)
            && names[0] == names[1]
            && moved_mm3 <= self.left_mm3
            && self.shape(theirs) == Thin::No
            && [first, second]
                .into_iter()
                .all(|new| self.faces_as(new, theirs) && self.height(new) > self.height(corners));
        if fits {
            self.left_mm3 -= moved_mm3;
            stale.extend([a, b, c, d]);
            self.facets[sliver as usize] = Some(first);
            self.facets[other as usize] = Some(second);
        }
        fits
    }

    /// The volume between a facet and a vertex, mm³.
    fn volume_mm3(&self, corners: [u32; 3], vertex: u32) -> f64 {
        let apex = self.at(vertex);
        let [a, b, c] = corners.map(|v| self.at(v) - apex);
        a.dot(b.cross(c)).abs() / 6.0
    }

    /// The least height of a facet, mm.
    fn height(&self, corners: [u32; 3]) -> f64 {
        let [a, b, c] = corners.map(|v| self.at(v));
        let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
        match longest > 0.0 {
            true => (b - a).cross(c - a).length() / longest,
            false => 0.0,
        }
    }

    /// The mesh of what is left, without the vertices that nothing has.
    fn finish(self) -> Option<Mesh> {
        let mut number = vec![u32::MAX; self.mesh.vertices().len()];
        let (mut vertices, mut facets, mut kept) = (Vec::new(), Vec::new(), Vec::new());
        for (facet, corners) in self.facets.iter().enumerate() {
            let Some(corners) = corners else {
                continue;
            };
            kept.push(facet);
            facets.push(corners.map(|vertex| {
                let number = &mut number[vertex as usize];
                if *number == u32::MAX {
                    *number = vertices.len() as u32;
                    vertices.push(self.mesh.vertices()[vertex as usize]);
                }
                *number
            }));
        }
        let groups = self.mesh.groups().of_kept(&kept);
        Some(Mesh::new(vertices, facets).ok()?.with_groups(groups))
    }
}

/// The corners turned so that the side comes first that is worth most.
fn turned(corners: [u32; 3], worth: impl Fn(u32, u32) -> f64) -> [u32; 3] {
    let [a, b, c] = corners;
    let sides = [[a, b, c], [b, c, a], [c, a, b]];
    let better = |x: &[u32; 3], y: &[u32; 3]| worth(x[0], x[1]).total_cmp(&worth(y[0], y[1]));
    sides.into_iter().max_by(better).unwrap_or(corners)
}
