//! An area with a smoother edge: each point takes what most of the skin about it has.

use std::sync::Arc;

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::facets::FacetSet;
use crate::surface::{Adjacency, Classes, LevelCut, Refined, rising, stitch};
use crate::{Cancelled, Mesh, Progress, Surface, SurfacePoint};

/// Skin is looked at in triangles of this part of the length.
const PART: f64 = 1.0 / 6.0;

/// A smoothed edge, and the skin about it on which it is told where it runs.
#[derive(Clone, Debug)]
pub(super) struct Smoothed {
    /// The facets that are inside as a whole.
    inside: FacetSet,
    /// Those on which the skin beneath tells.
    near: FacetSet,
    /// Small triangles, and at each of their vertices by how much there is more of the area about
    /// it than of the rest: from −1 to 1.
    skin: Option<(Surface, Arc<[f32]>)>,
}

impl Smoothed {
    /// Smooths the edge of an area, class 1, by a length. `level_mm` are the heights at which
    /// the area ends on level lines.
    pub(super) fn of(
        surface: &Surface,
        by_mm: f64,
        level_mm: Vec<f64>,
        area: impl Classes + Copy,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let finest_mm = by_mm * PART;
        let cut = LevelCut::new(surface, &rising(level_mm));
        let first = Skin::of(cut.refine(area, finest_mm, progress)?);
        let facets = surface.mesh().triangles().len();
        let Some(edge) = first.edge() else {
            return Ok(Self::without_edge(facets, &first));
        };
        // What tells about a point within the length of the edge lies within twice of it.
        let about = Near {
            reach_mm: 2.0 * by_mm + finest_mm,
            finest_mm,
            area,
            edge: &edge,
        };
        let skin = Skin::of(cut.refine(about, finest_mm, progress)?);
        progress.check()?;
        let more = skin.more(by_mm, &edge, progress)?;
        Ok(Self::with(facets, skin, more))
    }

    fn without_edge(facets: usize, skin: &Skin) -> Self {
        Self {
            inside: skin.facets_of(facets, |class| class & 1 == 1),
            near: FacetSet::new(std::iter::empty()),
            skin: None,
        }
    }

    fn with(facets: usize, skin: Skin, more: Vec<f32>) -> Self {
        let near = skin.facets_of(facets, |class| class >= NEAR);
        let inside = skin.facets_of(facets, |class| class == 1);
        let parts = skin.triangles.iter().zip(&skin.of);
        let kept = parts.filter(|(_, (facet, _))| near.contains(*facet));
        let triangles = kept.map(|(triangle, _)| *triangle).collect();
        let mesh = Mesh::new(skin.vertices, triangles).ok();
        Self {
            inside,
            near,
            skin: mesh.map(|mesh| (Surface::new(Arc::new(mesh)), more.into())),
        }
    }

    /// Whether all points of a facet are in it, or none.
    pub(super) fn is_even(&self, facet: u32) -> bool {
        !self.near.contains(facet)
    }

    /// Whether a point of the skin is in it.
    pub(super) fn contains(&self, at: SurfacePoint) -> bool {
        let Some((skin, more)) = self.skin.as_ref().filter(|_| self.near.contains(at.facet)) else {
            return self.inside.contains(at.facet);
        };
        let near = skin.nearest(at.point_mm);
        let corners = skin.mesh().corners(near.facet as usize);
        let names = skin.mesh().triangles().get(near.facet as usize);
        let of = names.map(|names| names.map(|v| more.get(v as usize).copied().unwrap_or(0.0)));
        of.is_some_and(|of| between(corners, of, near.point_mm) > 0.0)
    }
}

/// Classes from this on are near the edge.
const NEAR: u32 = 2;

/// The classes of an area, told apart by whether they are near its edge, where triangles are
/// to be small.
#[derive(Clone, Copy)]
struct Near<'a, C> {
    area: C,
    edge: &'a Surface,
    reach_mm: f64,
    finest_mm: f64,
}

impl<C: Classes> Classes for Near<'_, C> {
    fn class(&self, at: SurfacePoint) -> u32 {
        let near = self.edge.nearest_within(at.point_mm, self.reach_mm);
        self.area.class(at) + if near.is_some() { NEAR } else { 0 }
    }

    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        let middle = corners_mm.iter().sum::<DVec3>() / 3.0;
        let size = corners_mm.map(|corner| corner.distance(middle));
        let size = size.into_iter().fold(0.0, f64::max);
        let far = self.edge.nearest_within(middle, self.reach_mm + size);
        far.is_none() && self.area.is_even(facet, corners_mm)
    }

    fn coarsest_mm(&self, class: u32) -> f64 {
        match class >= NEAR {
            true => self.finest_mm,
            false => f64::INFINITY,
        }
    }
}

/// The skin in triangles that fit, each with its facet and its class.
struct Skin {
    vertices: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    of: Vec<(u32, u32)>,
    adjacency: Adjacency,
}

impl Skin {
    fn of(refined: Refined) -> Self {
        let of = refined.source_facet.into_iter().zip(refined.class);
        let mut all: Vec<([u32; 3], (u32, u32))> = refined.triangles.into_iter().zip(of).collect();
        stitch(&refined.vertices, &mut all);
        let (triangles, of): (Vec<[u32; 3]>, _) = all.into_iter().unzip();
        Self {
            adjacency: Adjacency::new(refined.vertices.len(), &triangles),
            vertices: refined.vertices,
            triangles,
            of,
        }
    }

    fn is_inside(&self, triangle: u32) -> bool {
        self.of
            .get(triangle as usize)
            .is_some_and(|(_, class)| class & 1 == 1)
    }

    /// The facets with a triangle of such a class.
    fn facets_of(&self, facets: usize, wanted: impl Fn(u32) -> bool) -> FacetSet {
        let mut found = vec![false; facets];
        for &(facet, class) in &self.of {
            found[facet as usize] |= wanted(class);
        }
        FacetSet::new(found.into_iter())
    }

    /// The sides along the area's edge, as triangles without area; none if it has no edge.
    fn edge(&self) -> Option<Surface> {
        let sides = (0..self.triangles.len() as u32).flat_map(|triangle| {
            let along = move |side: usize| {
                let mut others = self.adjacency.across(triangle, side);
                self.is_inside(triangle) && others.any(|(other, _)| !self.is_inside(other))
            };
            (0..3).filter(move |&side| along(side)).map(move |side| {
                let names = self.triangles[triangle as usize];
                let end = names[(side + 1) % 3];
                [names[side], end, end]
            })
        });
        let mesh = Mesh::new(self.vertices.clone(), sides.collect()).ok()?;
        Some(Surface::new(Arc::new(mesh)))
    }

    fn corners(&self, triangle: u32) -> [DVec3; 3] {
        self.triangles[triangle as usize].map(|v| self.vertices[v as usize])
    }

    /// At each vertex, by how much there is more of the area about it than of the rest.
    fn more(&self, by_mm: f64, edge: &Surface, progress: &Progress) -> Result<Vec<f32>, Cancelled> {
        let mut at = vec![u32::MAX; self.vertices.len()];
        for (triangle, number) in self.triangles.iter().zip(0u32..) {
            for &vertex in triangle {
                at[vertex as usize] = number;
            }
        }
        let one = |walk: &mut Walk, (vertex, &first): (usize, &u32)| -> Result<f32, Cancelled> {
            if vertex % 4096 == 0 {
                progress.check()?;
            }
            let place = self.vertices[vertex];
            let near = || edge.nearest_within(place, by_mm * (1.0 + PART)).is_some();
            if first != u32::MAX && near() {
                return Ok(self.more_about(place, first, by_mm, walk) as f32);
            }
            Ok(if self.is_inside(first) { 1.0 } else { -1.0 })
        };
        let places = at.par_iter().enumerate();
        places.map_init(Walk::default, one).collect()
    }

    /// The share of the area less that of the rest, of the skin that is within a length of a
    /// place and hangs together there with a triangle. What is nearer counts for more.
    fn more_about(&self, place: DVec3, first: u32, by_mm: f64, walk: &mut Walk) -> f64 {
        walk.begin(first);
        let (mut more, mut all) = (0.0, 0.0);
        while let Some(triangle) = walk.open.pop() {
            let [a, b, c] = self.corners(triangle);
            let middle = (a + b + c) / 3.0;
            let share = 1.0 - middle.distance_squared(place) / (by_mm * by_mm);
            if share <= 0.0 && triangle != first {
                continue;
            }
            let weight = 0.5 * (b - a).cross(c - a).length() * share.max(0.0).powi(2);
            all += weight;
            more += match self.is_inside(triangle) {
                true => weight,
                false => -weight,
            };
            for (other, _) in self.adjacency.neighbours(triangle) {
                if walk.seen.insert(other) {
                    walk.open.push(other);
                }
            }
        }
        match all > 0.0 {
            true => more / all,
            false => 0.0,
        }
    }
}

/// A walk over neighbouring triangles.
#[derive(Default)]
struct Walk {
    open: Vec<u32>,
    seen: FxHashSet<u32>,
}

impl Walk {
    fn begin(&mut self, first: u32) {
        self.open.clear();
        self.seen.clear();
        self.open.push(first);
        self.seen.insert(first);
    }
}

/// A value between those at a triangle's corners.
fn between([a, b, c]: [DVec3; 3], of: [f32; 3], at: DVec3) -> f64 {
    let whole = (b - a).cross(c - a);
    let double_area = whole.length_squared();
    let [of_a, of_b, of_c] = of.map(f64::from);
    if double_area <= 0.0 {
        return of_a;
    }
    let b_share = whole.dot((at - a).cross(c - a)) / double_area;
    let c_share = whole.dot((b - a).cross(at - a)) / double_area;
    of_a * (1.0 - b_share - c_share) + of_b * b_share + of_c * c_share
}
