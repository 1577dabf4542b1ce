//! What comes out of facets that are cut: where edges cross their sides, and pieces of one class.

use std::ops::Range;

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::{Classes, Work, agree, on_all};
use crate::stretches::stretches;
use crate::surface::clusters::{Clustered, Clusters, Grid};
use crate::surface::refined::{Areas, ClassArea, Pieces, Refined, Split, added, area, put_snapped};
use crate::{Cancelled, Progress};

/// The place of an edge is found to this part of the finest length: on edges that are followed
/// to half a nozzle, to a fifth of a micrometre.
const PART_OF_FINEST: f64 = 1e-3;

/// No more halvings than these are made for it, however long a side is.
const MOST_HALVINGS: usize = 24;

impl<C: Classes> Work<'_, C> {
    /// The skin in triangles of one class each.
    pub(in crate::surface) fn refined(&self, progress: &Progress) -> Result<Refined, Cancelled> {
        let edges = self.edges(progress)?;
        let vertices = self.mesh.vertices().chain(edges.crossings.iter().copied());
        let mut out = Refined::beside(vertices);
        self.put_all(0..self.mesh.count(), &edges, &mut out);
        Ok(out)
    }

    /// The area of each class, in rising order of class.
    pub(in crate::surface) fn areas(
        &self,
        progress: &Progress,
    ) -> Result<Vec<ClassArea>, Cancelled> {
        let edges = self.edges(progress)?;
        let (before, at) = self.vertices(&edges);
        let areas = |nodes| {
            let mut out = Areas::beside(before, &at);
            self.put_all(nodes, &edges, &mut out);
            out.told()
        };
        let found: Vec<Vec<ClassArea>> = stretches(self.mesh.count()).map(areas).collect();
        Ok(added(found.into_iter().flatten()))
    }

    /// The skin in no more than `most` triangles, to look at.
    pub(in crate::surface) fn clustered(
        &self,
        mut grid: Grid,
        most: usize,
        progress: &Progress,
    ) -> Result<Clustered, Cancelled> {
        let edges = self.edges(progress)?;
        let (before, at) = self.vertices(&edges);
        loop {
            let mut out = Clusters::new(grid, before, &at);
            self.put_all(0..self.mesh.count(), &edges, &mut out);
            progress.check()?;
            if out.count() <= most {
                return Ok(out.told());
            }
            grid = grid.wider();
        }
    }

    /// How many vertices there are with those where edges cross sides, and where each is.
    fn vertices<'a>(&'a self, edges: &'a Edges) -> (usize, impl Fn(u32) -> DVec3 + 'a) {
        let before = self.mesh.vertex_count();
        let at = move |vertex: u32| match (vertex as usize).checked_sub(before) {
            Some(crossing) => edges.crossings[crossing],
            None => self.mesh.vertex(vertex),
        };
        (before + edges.crossings.len(), at)
    }

    fn edges(&self, progress: &Progress) -> Result<Edges, Cancelled> {
        let mut crossings = Vec::new();
        let before = self.mesh.vertex_count();
        let found = self.crossings().into_iter();
        let on_side = found.map(|(side, place)| match place {
            Place::End(vertex) => (side, vertex),
            Place::Between(point) => {
                crossings.push(point);
                (side, (before + crossings.len() - 1) as u32)
            }
        });
        let on_side = on_side.collect();
        progress.check()?;
        let is_mixed = |&leaf: &u32| !agree(self.known(leaf));
        let mixed = |nodes| -> Vec<u32> { self.proper(nodes).filter(is_mixed).collect() };
        let mixed: Vec<Vec<u32>> = stretches(self.mesh.count()).map(mixed).collect();
        let mixed = mixed.concat();
        let bends = on_all(0..mixed.len(), |i| self.bend(mixed[i]));
        progress.check()?;
        Ok(Edges {
            crossings,
            on_side,
            bends: mixed.into_iter().zip(bends).collect(),
        })
    }

    /// The whole nodes of some with three corners.
    fn proper(&self, nodes: Range<usize>) -> impl Iterator<Item = u32> {
        let nodes = nodes.start as u32..nodes.end as u32;
        nodes.filter(|&node| self.mesh.is_whole(node) && self.mesh.is_proper(node))
    }

    /// Writes some of the whole triangles out.
    fn put_all(&self, nodes: Range<usize>, edges: &Edges, out: &mut impl Pieces) {
        let first = edges
            .bends
            .partition_point(|(leaf, _)| (*leaf as usize) < nodes.start);
        let mut bends = edges.bends.iter().skip(first).peekable();
        for leaf in self.proper(nodes) {
            let bend = bends.next_if(|(mixed, _)| *mixed == leaf);
            self.emit(leaf, &edges.on_side, bend.and_then(|(_, bend)| *bend), out);
        }
    }

    /// A third point of the edge in a leaf that it parts in two, on the way from the corner that
    /// is alone to the middle of the side across.
    fn bend(&self, leaf: u32) -> Option<DVec3> {
        let classes = self.known(leaf);
        let alone = odd_one_out(classes)?;
        let corners = self.mesh.corners(leaf);
        let [own, next, last] = [0, 1, 2].map(|i| corners[(alone + i) % 3]);
        let across = next.midpoint(last);
        let root = self.mesh.node(leaf).root;
        let part = self.part_between(root, classes[alone], [own, across]);
        Some(own.lerp(across, part))
    }

    /// Where the class changes along each side whose ends differ.
    fn crossings(&self) -> Vec<((u32, u32), Place)> {
        let mut roots: Vec<u32> = self.mixed.keys().copied().collect();
        roots.sort_unstable();
        let halves = self.mesh.roots()..self.mesh.count() as u32;
        let leaves = roots.into_iter().chain(halves);
        let mut sides = FxHashMap::default();
        for leaf in leaves.filter(|&leaf| self.mesh.is_whole(leaf)) {
            let classes = self.known(leaf);
            if agree(classes) {
                continue;
            }
            let node = self.mesh.node(leaf);
            for (i, j) in [(0, 1), (1, 2), (2, 0)] {
                if classes[i] != classes[j] {
                    let (a, b) = (node.corners[i], node.corners[j]);
                    let first = if a < b { i } else { j };
                    sides
                        .entry(key(a, b))
                        .or_insert((node.root, classes[first]));
                }
            }
        }
        let mut sides: Vec<_> = sides.into_iter().collect();
        sides.sort_unstable();
        on_all(0..sides.len(), |i| {
            let ((a, b), (root, class)) = sides[i];
            let [from, to] = [a, b].map(|v| self.mesh.vertex(v));
            let part = self.part_between(root, class, [from, to]);
            let place = if part < self.classes.snap() {
                Place::End(a)
            } else if part > 1.0 - self.classes.snap() {
                Place::End(b)
            } else {
                Place::Between(from.lerp(to, part))
            };
            ((a, b), place)
        })
    }

    /// The part of the way between two points at which the class ceases to be that of the first.
    fn part_between(&self, root: u32, class: u32, [from, to]: [DVec3; 2]) -> f64 {
        let wanted_mm = PART_OF_FINEST * self.finest_mm;
        let halvings = (from.distance(to) / wanted_mm).log2().ceil();
        let (mut same, mut other) = (0.0, 1.0);
        for _ in 0..(halvings.max(1.0) as usize).min(MOST_HALVINGS) {
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
    fn emit(
        &self,
        leaf: u32,
        known: &FxHashMap<(u32, u32), u32>,
        bend: Option<DVec3>,
        out: &mut impl Pieces,
    ) {
        let node = self.mesh.node(leaf);
        let classes = self.known(leaf);
        let facet = self.facet_of(node.root);
        if agree(classes) {
            return out.put(node.corners, facet, classes[0]);
        }
        // The crossing on a side; where there is none, the side's end will do.
        let on_side = |a: u32, b: u32| known.get(&key(a, b)).copied().unwrap_or(b);
        match odd_one_out(classes).zip(bend) {
            Some((alone, between)) => {
                let turned = |i: usize| (alone + i) % 3;
                let [own, next, last] = [0, 1, 2].map(|i| node.corners[turned(i)]);
                let crossings = [on_side(own, next), on_side(own, last)];
                if crossings.iter().any(|p| [own, next, last].contains(p)) {
                    let classes = [classes[alone], classes[turned(1)]];
                    return put_snapped(out, [own, next, last], crossings, classes, facet);
                }
                let split = Split {
                    corners: [own, next, last],
                    crossings,
                    between,
                    classes: [classes[alone], classes[turned(1)]],
                };
                split.put(out, facet);
            }
            None => {
                // Three classes meet: each gets the part around its own corner.
                let corners = self.mesh.corners(leaf);
                let centre = out.vertex(corners.into_iter().sum::<DVec3>() / 3.0);
                for (i, class) in classes.into_iter().enumerate() {
                    let [own, next, last] = [0, 1, 2].map(|k| node.corners[(i + k) % 3]);
                    for side in [[on_side(own, next), centre], [centre, on_side(own, last)]] {
                        if !side.contains(&own) {
                            out.put([own, side[0], side[1]], facet, class);
                        }
                    }
                    out.err(class, area(corners));
                }
            }
        }
    }
}

/// What is known of the edges between classes.
struct Edges {
    /// Where they cross sides between their ends, numbered after the vertices.
    crossings: Vec<DVec3>,
    /// The vertex at which an edge crosses a side.
    on_side: FxHashMap<(u32, u32), u32>,
    /// The leaves with an edge in them, in order, and a third point of it.
    bends: Vec<(u32, Option<DVec3>)>,
}

/// Where an edge crosses a side.
enum Place {
    /// At a vertex, its end.
    End(u32),
    /// Between its ends, mm.
    Between(DVec3),
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
