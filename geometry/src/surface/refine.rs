//! Facets cut along the edges of areas, for showing those areas and for measuring them.

use std::collections::BTreeMap;
use std::ops::Range;

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::bisection::Bisection;
use super::{Surface, SurfacePoint};
use crate::{Cancelled, Progress};

/// Facets are looked through at this many times the finest length; an area smaller than
/// that, in the middle of a large facet, may be missed.
const LOOK: f64 = 4.0;

/// Sides of pieces are numbered in 32 bits. Beyond this many pieces, which take 60 GB, nothing is
/// cut finer; how far areas may be off then is told with them.
const MOST_NODES: usize = 1 << 30;

/// Halvings with which the place of an edge is found along a side.
const HALVINGS: usize = 16;

/// What the skin is cut by: the class of each of its points.
///
/// A function that tells the class of a point is one.
pub trait Classes: Sync {
    /// The class of a point.
    fn class(&self, at: SurfacePoint) -> u32;

    /// Whether all of a part of a facet is surely of one class, so that it need not be looked
    /// through; where it is not known, no.
    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        let _ = (facet, corners_mm);
        false
    }

    /// The longest side that a triangle with a corner of a class may have, mm; any unless given.
    fn coarsest_mm(&self, class: u32) -> f64 {
        let _ = class;
        f64::INFINITY
    }

    /// An edge that comes nearer than this part of a side to its end is put onto the end, so that
    /// no small triangles come about; 0 unless given, and then edges stay where they are.
    fn snap(&self) -> f64 {
        0.0
    }
}

impl<F: Fn(SurfacePoint) -> u32 + Sync> Classes for F {
    fn class(&self, at: SurfacePoint) -> u32 {
        self(at)
    }
}

/// The skin cut so that each triangle belongs to one class.
///
/// Triangles that touch share their vertices, but for a vertex that may lie on the straight
/// side of a neighbour across a facet's edge: there is no gap to be seen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Refined {
    /// Vertices, mm.
    pub vertices: Vec<DVec3>,
    /// Triangles, wound as the facets they came from.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle the facet it came from.
    pub source_facet: Vec<u32>,
    /// For each triangle its class.
    pub class: Vec<u32>,
    /// How far the area of each class may be off, mm².
    error_mm2: BTreeMap<u32, f64>,
}

/// The area of a class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassArea {
    /// The class.
    pub class: u32,
    /// Its area, mm².
    pub area_mm2: f64,
    /// How far that may be off, mm²: what the last improvement of the class's edges has
    /// changed, or, where three classes meet, all of the triangle. An estimate, not a
    /// bound; on smooth edges the error is about a quarter of it.
    pub error_mm2: f64,
}

/// Cuts all facets so that the edges between classes are resolved to `finest_mm`.
///
/// Triangles without an edge in them stay as large as they are. Those with one are halved
/// until their sides are no longer than `finest_mm`, and then cut along the edge, which is
/// followed to a small part of that length; so a smooth edge looks smooth. What is smaller
/// than four times `finest_mm` may be missed.
///
/// # Errors
/// [`Cancelled`] when cancelled.
///
/// # Panics
/// Never by itself; `classes` are asked for from several threads.
pub fn refine(
    surface: &Surface,
    classes: impl Classes,
    finest_mm: f64,
    progress: &Progress,
) -> Result<Refined, Cancelled> {
    let facets: Vec<u32> = (0..surface.mesh().triangles().len() as u32).collect();
    let mesh = Bisection::of_all(surface.mesh(), surface.adjacency());
    run(mesh, facets, classes, finest_mm, progress)
}

/// As [`refine`], but of some facets alone: what a stroke that has just grown needs.
///
/// # Errors
/// [`Cancelled`] when cancelled.
///
/// # Panics
/// If a facet is not of this surface.
pub fn refine_some(
    surface: &Surface,
    facets: impl IntoIterator<Item = u32>,
    classes: impl Classes,
    finest_mm: f64,
    progress: &Progress,
) -> Result<Refined, Cancelled> {
    let mut place = FxHashMap::default();
    let mut unique = Vec::new();
    for facet in facets {
        place.entry(facet).or_insert_with(|| {
            unique.push(facet);
            unique.len() as u32 - 1
        });
    }
    let mesh = Bisection::of_some(surface.mesh(), surface.adjacency(), &unique, &place);
    run(mesh, unique, classes, finest_mm, progress)
}

impl Refined {
    /// The area of each class, in rising order of class. They add up to the surface's.
    pub fn areas(&self) -> Vec<ClassArea> {
        let mut areas = BTreeMap::<u32, f64>::new();
        for (triangle, &class) in self.triangles.iter().zip(&self.class) {
            let corners = triangle.map(|v| self.vertices[v as usize]);
            *areas.entry(class).or_default() += area(corners);
        }
        let error = |class| self.error_mm2.get(class).copied().unwrap_or(0.0);
        areas
            .iter()
            .map(|(class, &area_mm2)| ClassArea {
                class: *class,
                area_mm2,
                error_mm2: error(class),
            })
            .collect()
    }
}

fn area([a, b, c]: [DVec3; 3]) -> f64 {
    0.5 * (b - a).cross(c - a).length()
}

pub(super) fn run(
    mesh: Bisection,
    facets: Vec<u32>,
    classes: impl Classes,
    finest_mm: f64,
    progress: &Progress,
) -> Result<Refined, Cancelled> {
    let mut work = Work {
        known: Vec::new(),
        mesh,
        facets,
        classes,
        finest_mm,
    };
    work.classify_roots();
    work.cut(progress)?;
    work.finish(progress)
}

struct Work<C> {
    mesh: Bisection,
    /// The facet of each root.
    facets: Vec<u32>,
    /// For each node the classes at its corners, as its own facet sees them.
    known: Vec<[u32; 3]>,
    classes: C,
    finest_mm: f64,
}

impl<C: Classes> Work<C> {
    fn class_at(&self, root: u32, point_mm: DVec3) -> u32 {
        self.classes.class(SurfacePoint {
            point_mm,
            facet: self.facets[root as usize],
        })
    }

    fn classify_roots(&mut self) {
        self.known = on_all(0..self.mesh.roots as usize, |root| {
            let root = root as u32;
            self.mesh.corners(root).map(|p| self.class_at(root, p))
        });
    }

    fn cut(&mut self, progress: &Progress) -> Result<(), Cancelled> {
        let mut asked = 0;
        while asked < self.mesh.nodes.len() {
            progress.check()?;
            let fresh = asked..self.mesh.nodes.len();
            asked = self.mesh.nodes.len();
            let wanted = on_all(fresh.clone(), |node| self.wants_cut(node as u32));
            for (node, wanted) in fresh.zip(wanted) {
                if wanted && self.mesh.nodes.len() < MOST_NODES {
                    self.mesh.cut(node as u32);
                }
            }
            self.classify_halves(asked);
        }
        Ok(())
    }

    fn wants_cut(&self, node: u32) -> bool {
        if !self.mesh.nodes[node as usize].is_whole() {
            return false;
        }
        let [a, b] = self.mesh.longest_ends(node);
        let longest = a.distance(b);
        if longest <= self.finest_mm {
            return false;
        }
        let [first, second, third] = self.known[node as usize];
        let coarsest = [first, second, third].map(|class| self.classes.coarsest_mm(class));
        if longest > coarsest[0].min(coarsest[1]).min(coarsest[2]) {
            return true;
        }
        first != second || second != third || self.hides_another(node, longest, first)
    }

    /// Looks through a triangle whose corners agree for a point that does not.
    fn hides_another(&self, node: u32, longest: f64, class: u32) -> bool {
        let root = self.mesh.nodes[node as usize].root;
        let [a, b, c] = self.mesh.corners(node);
        if self.classes.is_even(self.facets[root as usize], [a, b, c]) {
            return false;
        }
        let steps = (longest / (LOOK * self.finest_mm)).ceil().max(2.0) as usize;
        let at = |i: usize, j: usize| {
            a + (b - a) * (i as f64 / steps as f64) + (c - a) * (j as f64 / steps as f64)
        };
        (0..=steps).any(|i| (0..=steps - i).any(|j| self.class_at(root, at(i, j)) != class))
    }

    /// Classifies the nodes from `first` on, which come in pairs of halves.
    fn classify_halves(&mut self, first: usize) {
        let pairs = (self.mesh.nodes.len() - first) / 2;
        let middles = on_all(0..pairs, |pair| {
            let half = &self.mesh.nodes[first + 2 * pair];
            self.class_at(half.root, self.at(half.corners[1]))
        });
        for (half, middle) in (first..).step_by(2).zip(middles) {
            let parent = self.mesh.nodes[half].parent as usize;
            let [a, b, c] = self.mesh.nodes[parent].turned_to_cut(self.known[parent]);
            self.known.extend([[a, middle, c], [middle, b, c]]);
        }
    }

    fn finish(&self, progress: &Progress) -> Result<Refined, Cancelled> {
        let leaves: Vec<u32> = self.mesh.leaves().collect();
        let crossings = self.crossings(&leaves);
        progress.check()?;
        let mut out = Refined {
            vertices: self.mesh.vertices.clone(),
            ..Refined::default()
        };
        let known: FxHashMap<(u32, u32), u32> = crossings
            .into_iter()
            .map(|(edge, place)| match place {
                Place::End(vertex) => (edge, vertex),
                Place::Between(point) => {
                    out.vertices.push(point);
                    (edge, out.vertices.len() as u32 - 1)
                }
            })
            .collect();
        for leaf in leaves {
            self.emit(leaf, &known, &mut out);
        }
        Ok(out)
    }

    /// Where the class changes along each side whose ends differ.
    fn crossings(&self, leaves: &[u32]) -> Vec<((u32, u32), Place)> {
        let mut sides = FxHashMap::default();
        for &leaf in leaves {
            let classes = self.known[leaf as usize];
            let node = &self.mesh.nodes[leaf as usize];
            for (i, j) in [(0, 1), (1, 2), (2, 0)] {
                if classes[i] != classes[j] {
                    let edge = key(node.corners[i], node.corners[j]);
                    sides.entry(edge).or_insert(node.root);
                }
            }
        }
        let mut sides: Vec<_> = sides.into_iter().collect();
        sides.sort_unstable();
        on_all(0..sides.len(), |i| {
            let ((a, b), root) = sides[i];
            let part = self.part_between(root, self.at(a), self.at(b));
            let place = if part < self.classes.snap() {
                Place::End(a)
            } else if part > 1.0 - self.classes.snap() {
                Place::End(b)
            } else {
                Place::Between(self.at(a).lerp(self.at(b), part))
            };
            ((a, b), place)
        })
    }

    /// A point between two at which the class ceases to be that of the first.
    fn change_between(&self, root: u32, from: DVec3, to: DVec3) -> DVec3 {
        from.lerp(to, self.part_between(root, from, to))
    }

    /// The part of the way between two points at which the class ceases to be that of the first.
    fn part_between(&self, root: u32, from: DVec3, to: DVec3) -> f64 {
        let class = self.class_at(root, from);
        let (mut same, mut other) = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (same + other);
            if self.class_at(root, from.lerp(to, middle)) == class {
                same = middle;
            } else {
                other = middle;
            }
        }
        0.5 * (same + other)
    }

    /// Writes a whole triangle out, cut along the edges in it.
    fn emit(&self, leaf: u32, known: &FxHashMap<(u32, u32), u32>, out: &mut Refined) {
        let node = &self.mesh.nodes[leaf as usize];
        let classes = self.known[leaf as usize];
        let facet = self.facets[node.root as usize];
        if classes[0] == classes[1] && classes[1] == classes[2] {
            return out.put(node.corners, facet, classes[0]);
        }
        // The crossing on a side; where there is none, the side's end will do.
        let on_side = |a: u32, b: u32| known.get(&key(a, b)).copied().unwrap_or(b);
        match odd_one_out(classes) {
            Some(alone) => {
                let turned = |i: usize| (alone + i) % 3;
                let [own, next, last] = [0, 1, 2].map(|i| node.corners[turned(i)]);
                let crossings = [on_side(own, next), on_side(own, last)];
                if crossings.iter().any(|p| [own, next, last].contains(p)) {
                    let classes = [classes[alone], classes[turned(1)]];
                    return out.put_snapped([own, next, last], crossings, classes, facet);
                }
                let across = self.at(next).midpoint(self.at(last));
                let split = Split {
                    corners: [own, next, last],
                    crossings,
                    // A third point of the edge, on the way to the middle of the side across.
                    between: self.change_between(node.root, self.at(own), across),
                    classes: [classes[alone], classes[turned(1)]],
                };
                out.put_split(&split, facet);
            }
            None => {
                // Three classes meet: each gets the part around its own corner.
                let corners = self.mesh.corners(leaf);
                let centre = out.vertices.len() as u32;
                out.vertices.push(corners.into_iter().sum::<DVec3>() / 3.0);
                for (i, class) in classes.into_iter().enumerate() {
                    let [own, next, last] = [0, 1, 2].map(|k| node.corners[(i + k) % 3]);
                    for side in [[on_side(own, next), centre], [centre, on_side(own, last)]] {
                        if !side.contains(&own) {
                            out.put([own, side[0], side[1]], facet, class);
                        }
                    }
                    *out.error_mm2.entry(class).or_default() += area(corners);
                }
            }
        }
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.mesh.vertices[vertex as usize]
    }
}

/// A triangle in which an edge parts one corner from the other two.
struct Split {
    /// The corner alone, and the others in their order.
    corners: [u32; 3],
    /// Where the edge crosses the sides from that corner to the others.
    crossings: [u32; 2],
    /// A point of the edge between the crossings.
    between: DVec3,
    /// The class of the corner alone, and that of the others.
    classes: [u32; 2],
}

/// Where an edge crosses a side.
enum Place {
    /// At a vertex, its end.
    End(u32),
    /// Between its ends, mm.
    Between(DVec3),
}

impl Refined {
    /// A triangle in which an edge goes through a corner. What has lost its area is left out.
    fn put_snapped(
        &mut self,
        [own, next, last]: [u32; 3],
        [p, q]: [u32; 2],
        [alone, others]: [u32; 2],
        facet: u32,
    ) {
        let rest = match p == own {
            true => [[p, next, q], [q, next, last]],
            false => [[p, next, last], [p, last, q]],
        };
        let pieces = [([own, p, q], alone), (rest[0], others), (rest[1], others)];
        for (corners, class) in pieces {
            let [a, b, c] = corners;
            if a != b && b != c && c != a {
                self.put(corners, facet, class);
            }
        }
    }

    fn put(&mut self, triangle: [u32; 3], facet: u32, class: u32) {
        self.triangles.push(triangle);
        self.source_facet.push(facet);
        self.class.push(class);
    }

    fn put_split(&mut self, split: &Split, facet: u32) {
        let ([own, next, last], [p, q]) = (split.corners, split.crossings);
        let [alone, others] = split.classes;
        let middle = self.vertices.len() as u32;
        self.vertices.push(split.between);
        // What the third point changes tells how far off the edge may still be.
        let changed = area([p, middle, q].map(|v| self.vertices[v as usize]));
        for class in split.classes {
            *self.error_mm2.entry(class).or_default() += changed;
        }
        self.put([own, p, middle], facet, alone);
        self.put([own, middle, q], facet, alone);
        self.put([p, next, middle], facet, others);
        self.put([middle, next, last], facet, others);
        self.put([middle, last, q], facet, others);
    }
}

/// Does something for each of a range; on several threads if there is enough of it.
fn on_all<T: Send>(range: Range<usize>, each: impl Fn(usize) -> T + Sync) -> Vec<T> {
    const FEW: usize = 1000;
    match range.len() < FEW {
        true => range.map(&each).collect(),
        false => range.into_par_iter().map(&each).collect(),
    }
}

fn key(a: u32, b: u32) -> (u32, u32) {
    (a.min(b), a.max(b))
}

/// The corner whose class differs from the other two's, which agree.
fn odd_one_out([a, b, c]: [u32; 3]) -> Option<usize> {
    match (a == b, b == c, c == a) {
        (false, true, _) => Some(0),
        (_, false, true) => Some(1),
        (true, _, false) => Some(2),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
