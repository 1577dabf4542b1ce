//! A painted stroke: near its polyline, and within reach along the surface.

use std::sync::Arc;

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHashSet};

use super::{MaskError, Stroke};
use crate::surface::bisection::Bisection;
use crate::surface::facet::nearest_on_segment;
use crate::surface::geodesic::{Distances, Fineness, Piece, trace};
use crate::{Cancelled, Progress, Surface, SurfacePoint};

/// A stroke laid on a part. It can grow dab by dab while someone paints, and is then the
/// same as one made of all its dabs at once.
#[derive(Clone)]
pub struct PreparedStroke {
    surface: Surface,
    radius_mm: f64,
    reach_mm: f64,
    dabs_mm: Vec<DVec3>,
    /// Corners of a box that holds all of it, mm.
    around: (DVec3, DVec3),
    segments: Vec<Segment>,
    /// For each facet that may hold paint, the last of its entries.
    last: FxHashMap<u32, u32>,
    entries: Vec<Entry>,
}

/// A straight piece of the stroke; one dab alone is a piece without length.
#[derive(Clone)]
struct Segment {
    ends: [DVec3; 2],
    /// Distances on the facets that are reached in part.
    distances: Option<Arc<Distances>>,
}

/// That a segment reaches a facet.
#[derive(Clone, Copy)]
struct Entry {
    segment: u32,
    /// The facet's root in the segment's distances, or [`WHOLE`].
    root: u32,
    /// The entry before it for the same facet, or [`NONE`].
    before: u32,
}

/// All of the facet is within reach.
const WHOLE: u32 = u32::MAX;
const NONE: u32 = u32::MAX;

/// What one segment reaches.
struct Reached {
    segment: Segment,
    /// Facets, each with its root or [`WHOLE`].
    facets: Vec<(u32, u32)>,
}

impl PreparedStroke {
    /// Lays a stroke on a part.
    ///
    /// # Errors
    /// [`MaskError`] if a value makes no sense, or the work was cancelled.
    pub fn new(stroke: &Stroke, surface: &Surface, progress: &Progress) -> Result<Self, MaskError> {
        stroke.check()?;
        let mut prepared = Self {
            surface: surface.clone(),
            radius_mm: stroke.radius_mm,
            reach_mm: stroke.reach_or_default_mm(),
            dabs_mm: stroke.dabs_mm.clone(),
            around: stroke.bounds_mm(),
            segments: Vec::new(),
            last: FxHashMap::default(),
            entries: Vec::new(),
        };
        let ends: Vec<[DVec3; 2]> = match stroke.dabs_mm.as_slice() {
            [dab] => vec![[*dab, *dab]],
            dabs => dabs.windows(2).map(|w| [w[0], w[1]]).collect(),
        };
        let reach = |ends| prepared.reach(ends, progress);
        // A few pieces are done sooner than other threads are woken.
        let reached: Result<Vec<_>, Cancelled> = match ends.len() {
            ..4 => ends.into_iter().map(reach).collect(),
            _ => ends.into_par_iter().map(reach).collect(),
        };
        for part in reached? {
            prepared.add(part);
        }
        Ok(prepared)
    }

    /// Adds a dab. The work is that of the new piece alone, however long the stroke is.
    ///
    /// # Errors
    /// [`MaskError`] if the dab is not a point; the stroke stays as it was.
    pub fn push(&mut self, dab_mm: DVec3) -> Result<(), MaskError> {
        super::check::finite_point("dabs_mm", dab_mm)?;
        let start = self.dabs_mm.last().copied().unwrap_or(dab_mm);
        let part = self.reach([start, dab_mm], &Progress::new())?;
        if self.dabs_mm.len() == 1 {
            // The dot it began with is part of the first piece.
            self.segments.clear();
            self.last.clear();
            self.entries.clear();
        }
        self.add(part);
        self.dabs_mm.push(dab_mm);
        let (low, high) = self.around;
        let room = DVec3::splat(self.radius_mm);
        self.around = (low.min(dab_mm - room), high.max(dab_mm + room));
        Ok(())
    }

    /// Its radius, mm.
    pub fn radius_mm(&self) -> f64 {
        self.radius_mm
    }

    /// The dabs so far, mm.
    pub fn dabs_mm(&self) -> &[DVec3] {
        &self.dabs_mm
    }

    /// The facets that may hold paint, in no order.
    pub fn facets(&self) -> impl Iterator<Item = u32> + '_ {
        self.last.keys().copied()
    }

    /// As [`PreparedMask::steady_mm`](super::PreparedMask::steady_mm): how far off a box about
    /// all of it is, and 0 within.
    pub fn steady_mm(&self, point: DVec3) -> f64 {
        let (low, high) = self.around;
        (low - point).max(point - high).max_element().max(0.0)
    }

    /// Whether a point of the skin is painted.
    pub fn contains(&self, at: SurfacePoint) -> bool {
        let Some(&last) = self.last.get(&at.facet) else {
            return false;
        };
        let mut next = last;
        while let Some(entry) = self.entries.get(next as usize) {
            let segment = &self.segments[entry.segment as usize];
            if self.reaches(segment, entry.root, at.point_mm) {
                return true;
            }
            next = entry.before;
        }
        false
    }

    fn reaches(&self, segment: &Segment, root: u32, point: DVec3) -> bool {
        let [a, b] = segment.ends;
        let near = nearest_on_segment(a, b, point).distance_squared(point)
            <= self.radius_mm * self.radius_mm;
        near && match &segment.distances {
            Some(distances) if root != WHOLE => distances.at(root, point) <= self.reach_mm,
            _ => true,
        }
    }

    fn add(&mut self, part: Reached) {
        let segment = self.segments.len() as u32;
        self.segments.push(part.segment);
        for (facet, root) in part.facets {
            let entry = self.entries.len() as u32;
            let before = self.last.insert(facet, entry).unwrap_or(NONE);
            self.entries.push(Entry {
                segment,
                root,
                before,
            });
        }
    }

    /// Finds out what a straight piece reaches.
    fn reach(&self, ends: [DVec3; 2], progress: &Progress) -> Result<Reached, Cancelled> {
        progress.check()?;
        let pieces = self.draw(ends);
        let near = Neighbourhood::load(&self.surface, ends, &pieces, self.reach_mm, self.radius_mm);
        let distances = self.distances(ends, &near, pieces, progress)?;
        let mut facets = Vec::with_capacity(near.facets.len());
        for (root, &facet) in near.facets.iter().enumerate() {
            let (least, most) = distances.range(root as u32);
            let corners = self.surface.mesh().corners(facet as usize);
            if least <= self.reach_mm && !farther_than(corners, ends, self.radius_mm) {
                let whole = most <= self.reach_mm;
                facets.push((facet, if whole { WHOLE } else { root as u32 }));
            }
        }
        let in_part = facets.iter().any(|&(_, root)| root != WHOLE);
        let segment = Segment {
            ends,
            distances: in_part.then(|| Arc::new(distances)),
        };
        Ok(Reached { segment, facets })
    }

    /// Distances from a straight piece over its neighbourhood.
    fn distances(
        &self,
        ends: [DVec3; 2],
        near: &Neighbourhood,
        pieces: Vec<Piece>,
        progress: &Progress,
    ) -> Result<Distances, Cancelled> {
        // Only the distances about as long as the reach decide anything, so nearer to the
        // stroke the skin need not be cut finer.
        let fineness = Fineness {
            finest_mm: self.reach_mm / 10.0,
            sides_per_distance: 8.0,
            most_nodes: 400_000,
        };
        let from_ends = |p: DVec3| nearest_on_segment(ends[0], ends[1], p).distance(p);
        let matters =
            |a: DVec3, b: DVec3| from_ends(a.midpoint(b)) - 0.5 * a.distance(b) < near.within_mm;
        let mut mesh = near.bisection(&self.surface);
        mesh.refine(fineness.most_nodes, |a, b| {
            fineness.too_long(a, b, from_ends) && matters(a, b)
        });
        let by_root = |piece: Piece| {
            let facet = *near.place.get(&piece.facet)?;
            Some(Piece { facet, ..piece })
        };
        let pieces: Vec<Piece> = pieces.into_iter().filter_map(by_root).collect();
        // Far enough that the facets at the limit have all their corners.
        let limit = 1.2 * self.reach_mm;
        Distances::new(&self.surface, mesh, &pieces, limit, progress)
    }

    /// The line that a piece draws on the skin; a dab away from the skin draws nothing.
    fn draw(&self, ends: [DVec3; 2]) -> Vec<Piece> {
        let on_skin = ends.map(|p| self.surface.nearest_within(p, self.radius_mm));
        match on_skin {
            [Some(a), Some(b)] if a.point_mm == b.point_mm => vec![Piece::dot(a)],
            [Some(a), Some(b)] => trace(&self.surface, a, b, self.radius_mm),
            [Some(a), None] | [None, Some(a)] => vec![Piece::dot(a)],
            [None, None] => Vec::new(),
        }
    }
}

/// The facets that ways from a segment to its paint can run over.
struct Neighbourhood {
    facets: Vec<u32>,
    /// Where each facet is in `facets`.
    place: FxHashMap<u32, u32>,
    within_mm: f64,
}

impl Neighbourhood {
    fn load(
        surface: &Surface,
        ends: [DVec3; 2],
        pieces: &[Piece],
        reach_mm: f64,
        radius_mm: f64,
    ) -> Self {
        // A way that ends within the radius of the segment and is no longer than the reach
        // is never farther from the segment than the mean of the two.
        let within_mm = 0.5 * (1.1 * reach_mm + radius_mm);
        let adjacency = surface.adjacency();
        let mut near = Self {
            facets: Vec::new(),
            place: FxHashMap::default(),
            within_mm,
        };
        let mut far = FxHashSet::default();
        for piece in pieces {
            near.put(piece.facet);
        }
        let mut next = 0;
        while let Some(&facet) = near.facets.get(next) {
            next += 1;
            for (other, _) in adjacency.neighbours(facet) {
                if near.place.contains_key(&other) || far.contains(&other) {
                    continue;
                }
                if farther_than(surface.mesh().corners(other as usize), ends, within_mm) {
                    far.insert(other);
                } else {
                    near.put(other);
                }
            }
        }
        near
    }

    fn put(&mut self, facet: u32) {
        let place = self.facets.len() as u32;
        if let std::collections::hash_map::Entry::Vacant(vacant) = self.place.entry(facet) {
            vacant.insert(place);
            self.facets.push(facet);
        }
    }

    fn bisection(&self, surface: &Surface) -> Bisection {
        Bisection::of_some(
            surface.mesh(),
            surface.adjacency(),
            &self.facets,
            &self.place,
        )
    }
}

/// Whether a facet is surely farther than `limit` from a segment.
fn farther_than(corners: [DVec3; 3], ends: [DVec3; 2], limit: f64) -> bool {
    let centre = (corners[0] + corners[1] + corners[2]) / 3.0;
    let size = corners
        .map(|c| c.distance_squared(centre))
        .into_iter()
        .fold(0.0, f64::max)
        .sqrt();
    nearest_on_segment(ends[0], ends[1], centre).distance(centre) - size > limit
}
