//! A part's outline as a camera sees it: the edges between facets that face the camera and
//! facets that don't, where nothing of the part lies on one of their sides.

use std::collections::HashMap;

use geometry::{DVec3, Mesh};
use photograph::homography::Point;

use super::mask::{Mask, bounds};
use super::posed::Posed;

/// A finer mesh than this is thinned out for its outline: no picture shows so much.
const MOST_TRIANGLES: usize = 150_000;
/// Cells along a thinned part.
const THINNED: f64 = 500.0;
/// Cells along a part that is only looked for.
const ROUGH: f64 = 36.0;
/// How far apart places on the outline are, px.
const APART_PX: f64 = 3.0;
/// How far beside an edge the part must be, and must not be, cells of the mask.
const BESIDE: f64 = 1.25;
/// Within how many cells of the mask a direction is taken from.
const AROUND: i64 = 4;

/// A mesh made ready for outlines.
#[derive(Clone, Debug)]
pub struct Shape {
    points: Vec<DVec3>,
    triangles: Vec<[usize; 3]>,
    edges: Vec<Edge>,
}

#[derive(Clone, Copy, Debug)]
struct Edge {
    ends: [usize; 2],
    /// The facets at its sides; the same twice where there is one, or more than two.
    sides: [usize; 2],
}

/// A place on an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutlinePoint {
    /// Where it is on the part, mm.
    pub part_mm: DVec3,
    /// Where it is seen, px.
    pub at: Point,
    /// Which way leads off the part in the picture, of length 1.
    pub out: Point,
}

impl Shape {
    /// Of a mesh, as it is.
    pub fn of(mesh: &Mesh) -> Self {
        let shape = Self::plain(mesh);
        match shape.triangles.len() > MOST_TRIANGLES {
            true => shape.thinned(THINNED),
            false => shape,
        }
    }

    fn plain(mesh: &Mesh) -> Self {
        let triangles = mesh.triangles().iter();
        Self::new(
            mesh.vertices().to_vec(),
            triangles.map(|t| t.map(|v| v as usize)).collect(),
        )
    }

    /// A rough one, to look for.
    pub fn rough(mesh: &Mesh) -> Self {
        Self::plain(mesh).thinned(ROUGH)
    }

    fn new(points: Vec<DVec3>, triangles: Vec<[usize; 3]>) -> Self {
        let mut sides: HashMap<[usize; 2], (usize, usize, usize)> = HashMap::new();
        for (facet, [a, b, c]) in triangles.iter().enumerate() {
            for (from, to) in [(a, b), (b, c), (c, a)] {
                let ends = [*from.min(to), *from.max(to)];
                let entry = sides.entry(ends).or_insert((facet, facet, 0));
                entry.2 += 1;
                entry.1 = if entry.2 == 2 { facet } else { entry.0 };
            }
        }
        let edges = sides.into_iter().map(|(ends, (one, other, _))| Edge {
            ends,
            sides: [one, other],
        });
        let mut edges: Vec<Edge> = edges.collect();
        // The same order in each run.
        edges.sort_by_key(|edge| edge.ends);
        Self {
            points,
            triangles,
            edges,
        }
    }

    /// With one corner for each cell of a lattice that has so many along the part.
    fn thinned(&self, cells: f64) -> Self {
        let none = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let (low, high) = self
            .points
            .iter()
            .fold(none, |(low, high), p| (low.min(*p), high.max(*p)));
        let side = ((high - low).max_element() / cells).max(1e-6);
        let mut corner_of: HashMap<[i64; 3], usize> = HashMap::new();
        let mut sums: Vec<(DVec3, f64)> = Vec::new();
        let mut new_of = Vec::with_capacity(self.points.len());
        for point in &self.points {
            let cell = ((*point - low) / side).floor().to_array().map(|v| v as i64);
            let corner = *corner_of.entry(cell).or_insert_with(|| {
                sums.push((DVec3::ZERO, 0.0));
                sums.len() - 1
            });
            if let Some(sum) = sums.get_mut(corner) {
                *sum = (sum.0 + *point, sum.1 + 1.0);
            }
            new_of.push(corner);
        }
        let new = |old: usize| new_of.get(old).copied().unwrap_or(0);
        let kept = self.triangles.iter().map(|t| t.map(new));
        let triangles = kept
            .filter(|[a, b, c]| a != b && b != c && a != c)
            .collect();
        let points = sums.into_iter().map(|(sum, count)| sum / count).collect();
        Self::new(points, triangles)
    }

    /// The picture's points of its corners.
    fn seen(&self, posed: &Posed<'_>) -> Vec<Option<Point>> {
        self.points.iter().map(|p| posed.project(*p)).collect()
    }

    /// What it covers of a picture; none if some of it is behind the camera.
    pub fn mask(&self, posed: &Posed<'_>, least_px: f64) -> Option<Mask> {
        self.mask_of(&self.seen(posed), least_px, |_| true)
    }

    fn mask_of(
        &self,
        seen: &[Option<Point>],
        least_px: f64,
        counts: impl Fn(usize) -> bool,
    ) -> Option<Mask> {
        if seen.iter().any(Option::is_none) {
            return None;
        }
        let mut mask = Mask::around(bounds(seen.iter().flatten().copied())?, least_px);
        for (facet, corners) in self.triangles.iter().enumerate() {
            let at = |v: usize| seen.get(v).copied().flatten();
            let [a, b, c] = corners.map(at);
            if counts(facet)
                && let (Some(a), Some(b), Some(c)) = (a, b, c)
            {
                mask.cover([a, b, c]);
            }
        }
        Some(mask)
    }

    /// Places on its outline, no more than so many; none if some of it is behind the camera.
    pub fn outline(&self, posed: &Posed<'_>, most: usize) -> Option<Vec<OutlinePoint>> {
        let seen = self.seen(posed);
        let eye = posed.eye_mm();
        let corner = |v: usize| self.points.get(v).copied().unwrap_or_default();
        let faces = |[a, b, c]: &[usize; 3]| {
            let (a, b, c) = (corner(*a), corner(*b), corner(*c));
            (b - a).cross(c - a).dot(eye - a) > 0.0
        };
        let facing: Vec<bool> = self.triangles.iter().map(faces).collect();
        let mask = self.mask_of(&seen, 1.0, |_| true)?;
        let is_facing = |facet: usize| facing.get(facet) == Some(&true);
        let mut found = Vec::new();
        for Edge { ends, sides } in &self.edges {
            let [one, other] = *sides;
            if one != other && is_facing(one) == is_facing(other) {
                continue;
            }
            let at = |end: usize| seen.get(end).copied().flatten();
            let [from, to] = *ends;
            if let (Some(a), Some(b)) = (at(from), at(to)) {
                let line = ((corner(from), corner(to)), (a, b));
                along(posed, &mask, line, &mut found);
            }
        }
        let every = found.len().div_ceil(most.max(1)).max(1);
        Some(found.into_iter().step_by(every).collect())
    }
}

/// Adds the places of an edge that are on the outline.
fn along(
    posed: &Posed<'_>,
    mask: &Mask,
    ((from, to), (a, b)): ((DVec3, DVec3), (Point, Point)),
    found: &mut Vec<OutlinePoint>,
) {
    let (x, y) = (b.0 - a.0, b.1 - a.1);
    let length = x.hypot(y);
    if length < 1e-9 {
        return;
    }
    let beside = BESIDE * mask.cell_px;
    let count = (length / APART_PX).ceil().max(1.0);
    for i in 0..count as usize {
        let part_mm = from.lerp(to, (i as f64 + 0.5) / count);
        let Some(at) = posed.project(part_mm) else {
            continue;
        };
        // By the mask, for the edges of a round part zigzag about its outline.
        let Some(out) = mask.out(at, AROUND) else {
            continue;
        };
        let covered = |by: f64| mask.covers((at.0 + by * out.0, at.1 + by * out.1));
        if covered(-beside) && !covered(beside) {
            found.push(OutlinePoint { part_mm, at, out });
        }
    }
}
