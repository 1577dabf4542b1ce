//! Facets cut along the edges of areas, for showing those areas and for measuring them.

use std::ops::Range;

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::FxHashMap;

mod outcome;

use super::bisection::Bisection;
use super::lattice::{FEW_STEPS, Lattice, halves};
use super::{Surface, SurfacePoint};
use crate::{Cancelled, Progress};

pub use super::refined::{ClassArea, Refined};

/// Facets are looked through at this many times the finest length; an area smaller than
/// that, in the middle of a large facet, may be missed.
pub(super) const LOOK: f64 = 4.0;

/// The same where areas are measured: they count what is too small to be seen, so that they do not
/// depend on how the skin is cut into facets.
pub(super) const LOOK_TO_MEASURE: f64 = 2.0;

/// Sides of pieces are numbered in 32 bits. Beyond this many pieces, which take 60 GB, nothing is
/// cut finer; how far areas may be off then is told with them.
const MOST_NODES: usize = 1 << 30;

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
    let mesh = Bisection::of_all(surface.mesh(), surface.adjacency());
    run(mesh, None, classes, finest_mm, LOOK, progress)?.refined(progress)
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
    run(mesh, Some(unique), classes, finest_mm, LOOK, progress)?.refined(progress)
}

/// Classifies facets and cuts those in which there is an edge. `facets` names the facet of each
/// root where that is not its own number; facets are looked through at `look` times the finest
/// length.
pub(super) fn run<'a, C: Classes>(
    mesh: Bisection<'a>,
    facets: Option<Vec<u32>>,
    classes: C,
    finest_mm: f64,
    look: f64,
    progress: &Progress,
) -> Result<Work<'a, C>, Cancelled> {
    let mut work = Work {
        mesh,
        facets,
        of_roots: Vec::new(),
        mixed: FxHashMap::default(),
        of_halves: Vec::new(),
        classes,
        finest_mm,
        look_mm: look * finest_mm,
    };
    let wanted = work.classify_roots();
    work.cut(wanted, progress)?;
    Ok(work)
}

/// Facets classified and cut.
pub(super) struct Work<'a, C> {
    mesh: Bisection<'a>,
    /// The facet of each root, if not that of its number.
    facets: Option<Vec<u32>>,
    /// For each root the class at its first corner.
    of_roots: Vec<u32>,
    /// The classes at all corners of those roots where they differ, as the facet sees them.
    mixed: FxHashMap<u32, [u32; 3]>,
    /// The same for each half.
    of_halves: Vec<[u32; 3]>,
    classes: C,
    finest_mm: f64,
    look_mm: f64,
}

/// What is seen of a facet before anything is cut.
#[derive(Clone, Copy)]
struct Seen {
    class: u32,
    is_mixed: bool,
    wants_cut: bool,
}

impl<C: Classes> Work<'_, C> {
    fn facet_of(&self, root: u32) -> u32 {
        match &self.facets {
            Some(facets) => facets[root as usize],
            None => root,
        }
    }

    fn class_at(&self, root: u32, point_mm: DVec3) -> u32 {
        self.classes.class(SurfacePoint {
            point_mm,
            facet: self.facet_of(root),
        })
    }

    fn at_corners(&self, root: u32) -> [u32; 3] {
        self.mesh.corners(root).map(|p| self.class_at(root, p))
    }

    /// The classes at a node's corners, as its own facet sees them.
    fn known(&self, node: u32) -> [u32; 3] {
        match node.checked_sub(self.mesh.roots()) {
            Some(half) => self.of_halves[half as usize],
            None => match self.mixed.get(&node) {
                Some(classes) => *classes,
                None => [self.of_roots[node as usize]; 3],
            },
        }
    }

    /// Classifies all roots; tells which want to be cut.
    fn classify_roots(&mut self) -> Vec<u32> {
        let seen = on_all(0..self.mesh.roots() as usize, |root| self.look(root as u32));
        let mut wanted = Vec::new();
        for (root, seen) in (0..).zip(&seen) {
            if seen.is_mixed {
                let classes = self.at_corners(root);
                self.mixed.insert(root, classes);
            }
            if seen.wants_cut {
                wanted.push(root);
            }
        }
        self.of_roots = seen.into_iter().map(|seen| seen.class).collect();
        wanted
    }

    fn look(&self, root: u32) -> Seen {
        let corners = self.mesh.corners(root);
        if self.classes.is_even(self.facet_of(root), corners) {
            let middle = corners.iter().sum::<DVec3>() / 3.0;
            let class = self.class_at(root, middle);
            return Seen {
                class,
                is_mixed: false,
                wants_cut: self.is_too_coarse(root, [class; 3]),
            };
        }
        let classes = corners.map(|p| self.class_at(root, p));
        Seen {
            class: classes[0],
            is_mixed: !agree(classes),
            wants_cut: self.wants_cut(root, classes),
        }
    }

    /// Cuts the roots that want it, then their halves, until none does.
    fn cut(&mut self, wanted: Vec<u32>, progress: &Progress) -> Result<(), Cancelled> {
        let mut asked = self.mesh.count();
        for root in wanted {
            if self.mesh.is_whole(root) && self.mesh.count() < MOST_NODES {
                self.mesh.cut(root);
            }
        }
        self.classify_halves(asked);
        while asked < self.mesh.count() {
            progress.check()?;
            let fresh = asked..self.mesh.count();
            asked = self.mesh.count();
            let wanted = on_all(fresh.clone(), |node| {
                let node = node as u32;
                self.mesh.is_whole(node) && self.wants_cut(node, self.known(node))
            });
            for (node, wanted) in fresh.zip(wanted) {
                if wanted && self.mesh.count() < MOST_NODES {
                    self.mesh.cut(node as u32);
                }
            }
            self.classify_halves(asked);
        }
        Ok(())
    }

    fn wants_cut(&self, node: u32, classes: [u32; 3]) -> bool {
        let longest = self.longest(node);
        longest > self.finest_mm
            && (self.is_too_coarse(node, classes)
                || !agree(classes)
                || self.hides_another(node, classes[0]))
    }

    /// Whether a node is larger than its classes let it be.
    fn is_too_coarse(&self, node: u32, classes: [u32; 3]) -> bool {
        let coarsest = classes.map(|class| self.classes.coarsest_mm(class));
        let coarsest = coarsest[0].min(coarsest[1]).min(coarsest[2]);
        coarsest < f64::INFINITY && self.longest(node) > coarsest.max(self.finest_mm)
    }

    fn longest(&self, node: u32) -> f64 {
        let [a, b] = self.mesh.longest_ends(node);
        a.distance(b)
    }

    /// Looks through a triangle whose corners agree for a point that does not.
    fn hides_another(&self, node: u32, class: u32) -> bool {
        let root = self.mesh.node(node).root;
        let [a, b, c] = self.mesh.corners(node);
        if self.classes.is_even(self.facet_of(root), [a, b, c]) {
            return false;
        }
        let lattice = Lattice::new([a, b, c], self.look_mm);
        let [along, rows] = lattice.steps;
        self.differs(&lattice, root, class, [[0, along], [0, rows]])
    }

    /// Whether a place of a lattice, in ranges along its rows and of rows, is of another class.
    /// Blocks that are surely of one class are asked about once.
    fn differs(&self, lattice: &Lattice, root: u32, class: u32, block: [[usize; 2]; 2]) -> bool {
        let [[i0, i1], [j0, j1]] = block;
        let other = |i: usize, j: usize| self.class_at(root, lattice.at(i, j)) != class;
        if i1 - i0 <= FEW_STEPS && j1 - j0 <= FEW_STEPS {
            return (j0..=j1).any(|j| lattice.row(j, [i0, i1]).any(|i| other(i, j)));
        }
        let [own, next, last, across] =
            [(i0, j0), (i1, j0), (i0, j1), (i1, j1)].map(|(i, j)| lattice.at(i, j));
        let facet = self.facet_of(root);
        let even = |corners| self.classes.is_even(facet, corners);
        if even([own, next, last]) && even([next, across, last]) {
            return other(i0, j0);
        }
        let mut along = halves([i0, i1]);
        along.any(|along| {
            let mut rows = halves([j0, j1]);
            rows.any(|rows| self.differs(lattice, root, class, [along, rows]))
        })
    }

    /// Classifies the nodes from `first` on, which come in pairs of halves.
    fn classify_halves(&mut self, first: usize) {
        let pairs = (self.mesh.count() - first) / 2;
        let middles = on_all(0..pairs, |pair| {
            let half = self.mesh.node((first + 2 * pair) as u32);
            self.class_at(half.root, self.mesh.vertex(half.corners[1]))
        });
        for (half, middle) in (first..).step_by(2).zip(middles) {
            let parent = self.mesh.node(half as u32).parent;
            let known = self.known(parent);
            let [a, b, c] = self.mesh.node(parent).turned_to_cut(known);
            self.of_halves.extend([[a, middle, c], [middle, b, c]]);
        }
    }
}

/// Whether all corners are of one class.
fn agree([a, b, c]: [u32; 3]) -> bool {
    a == b && b == c
}

/// Does something for each of a range; on several threads if there is enough of it.
fn on_all<T: Send>(range: Range<usize>, each: impl Fn(usize) -> T + Sync) -> Vec<T> {
    const FEW: usize = 1000;
    match range.len() < FEW {
        true => range.map(&each).collect(),
        false => range.into_par_iter().map(&each).collect(),
    }
}

#[cfg(test)]
mod tests;
