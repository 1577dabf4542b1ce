//! A painted stroke: near its polyline, and within reach along the surface.

use glam::DVec3;
use rayon::prelude::*;

use super::box_tree::outside_mm;
use super::reach::{Brush, Segment};
use super::segment_boxes::SegmentBoxes;
use super::{MaskError, Stroke};
use crate::surface::Visited;
use crate::{Mesh, Progress, Surface, SurfacePoint};
use std::sync::Arc;

/// A stroke laid on a part. It can grow dab by dab while someone paints, and is then the
/// same as one made of all its dabs at once.
///
/// It knows the facets that it paints as a whole by their numbers alone; what else is kept is
/// for those at its rim.
#[derive(Clone)]
pub struct PreparedStroke {
    surface: Surface,
    brush: Brush,
    dabs_mm: Vec<DVec3>,
    /// Corners of a box that holds all of it, mm.
    around: [DVec3; 2],
    segments: Vec<Arc<Segment>>,
    boxes: SegmentBoxes,
    /// The facets painted as a whole, in rising order.
    whole: Vec<u32>,
    /// The other facets that may hold paint, in rising order.
    part: Vec<u32>,
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
            brush: Brush {
                radius_mm: stroke.radius_mm,
                reach_mm: stroke.reach_or_default_mm(),
            },
            dabs_mm: stroke.dabs_mm.clone(),
            around: stroke.bounds_mm().into(),
            segments: Vec::new(),
            boxes: SegmentBoxes::default(),
            whole: Vec::new(),
            part: Vec::new(),
        };
        let ends: Vec<[DVec3; 2]> = match stroke.dabs_mm.as_slice() {
            [dab] => vec![[*dab, *dab]],
            dabs => dabs.windows(2).map(|w| [w[0], w[1]]).collect(),
        };
        let brush = prepared.brush;
        let mut visited = prepared.visited();
        let reach =
            |visited: &mut Visited, ends| Segment::new(surface, ends, brush, visited, progress);
        // A few pieces are done sooner than other threads are woken.
        let reached: Result<Vec<_>, MaskError> = match ends.len() {
            ..4 => ends
                .into_iter()
                .map(|ends| reach(&mut visited, ends))
                .collect(),
            _ => {
                let pieces = ends.into_par_iter();
                pieces.map_init(|| prepared.visited(), reach).collect()
            }
        };
        let (mut whole, mut part) = (Vec::new(), Vec::new());
        for (segment, painted) in reached? {
            whole.extend(painted);
            part.extend_from_slice(segment.facets());
            prepared.put(segment);
        }
        prepared.whole = visited.each_once(whole);
        prepared.part = visited.each_once(part);
        prepared.part_without_whole();
        Ok(prepared)
    }

    /// Adds a dab. The work is that of the new piece alone, however long the stroke is.
    ///
    /// # Errors
    /// [`MaskError`] if the dab is not a point; the stroke stays as it was.
    pub fn push(&mut self, dab_mm: DVec3) -> Result<(), MaskError> {
        super::values::finite_point("dabs_mm", dab_mm)?;
        let start = self.dabs_mm.last().copied().unwrap_or(dab_mm);
        let ends = [start, dab_mm];
        let mut visited = self.visited();
        let (segment, whole) = Segment::new(
            &self.surface,
            ends,
            self.brush,
            &mut visited,
            &Progress::new(),
        )?;
        if self.dabs_mm.len() == 1 {
            // The dot it began with is part of the first piece.
            self.segments.clear();
            self.boxes = SegmentBoxes::default();
            self.whole.clear();
            self.part.clear();
        }
        insert_each(&mut self.whole, whole);
        insert_each(&mut self.part, segment.facets().to_vec());
        self.part_without_whole();
        self.put(segment);
        self.dabs_mm.push(dab_mm);
        let [low, high] = self.around;
        let room = DVec3::splat(self.brush.radius_mm);
        self.around = [low.min(dab_mm - room), high.max(dab_mm + room)];
        Ok(())
    }

    /// Its radius, mm.
    pub fn radius_mm(&self) -> f64 {
        self.brush.radius_mm
    }

    /// The dabs so far, mm.
    pub fn dabs_mm(&self) -> &[DVec3] {
        &self.dabs_mm
    }

    /// The facets that may hold paint, each once, in no order.
    pub fn facets(&self) -> impl Iterator<Item = u32> + '_ {
        self.whole.iter().chain(&self.part).copied()
    }

    /// How many facets the part has that it is drawn on.
    pub(super) fn facet_count(&self) -> usize {
        self.surface.mesh().triangles().len()
    }

    /// The facets that are painted as a whole, in rising order.
    pub(super) fn whole_facets(&self) -> &[u32] {
        &self.whole
    }

    /// The other facets that may hold paint, in rising order.
    pub(super) fn part_facets(&self) -> &[u32] {
        &self.part
    }

    /// As [`PreparedMask::clearance_mm`](super::PreparedMask::clearance_mm): how far off the boxes
    /// about its straight pieces are, and 0 within one. The work grows little with the pieces.
    pub fn clearance_mm(&self, point: DVec3) -> f64 {
        self.clearance_within(point, f64::INFINITY)
    }

    /// As [`PreparedStroke::clearance_mm`], but no more than `most_mm`.
    pub(super) fn clearance_within(&self, point: DVec3, most_mm: f64) -> f64 {
        self.boxes.outside_mm(point, most_mm)
    }

    /// Whether a point of the skin is painted.
    pub fn contains(&self, at: SurfacePoint) -> bool {
        if outside_mm(self.around, at.point_mm) > 0.0 {
            return false;
        }
        self.whole.binary_search(&at.facet).is_ok()
            || (self.part.binary_search(&at.facet).is_ok() && self.paints_part(at))
    }

    /// Whether a point of a facet that may hold paint, and is not painted as a whole, is
    /// painted.
    pub(super) fn paints_part(&self, at: SurfacePoint) -> bool {
        let mesh = self.surface.mesh();
        let (facet, point) = (at.facet, at.point_mm);
        self.boxes.any_near(point, 0.0, |segment| {
            let segment = self.segments.get(segment);
            segment.is_some_and(|s| s.paints(mesh, facet, point, self.brush))
        })
    }

    /// The boxes about its straight pieces.
    pub(super) fn piece_boxes(&self) -> &[[DVec3; 2]] {
        self.boxes.each()
    }

    /// Whether a straight piece paints a point of a facet that the stroke does not paint as a
    /// whole.
    pub(super) fn piece_paints(&self, piece: usize, at: SurfacePoint) -> bool {
        let piece = self.segments.get(piece);
        piece.is_some_and(|s| s.paints(self.surface.mesh(), at.facet, at.point_mm, self.brush))
    }

    /// Whether a straight piece may paint a point of a facet within `room_mm` of a place.
    pub(super) fn piece_comes_near(
        &self,
        piece: usize,
        facet: u32,
        place_mm: DVec3,
        room_mm: f64,
    ) -> bool {
        let near_mm = self.brush.radius_mm + room_mm;
        let piece = self.segments.get(piece);
        piece.is_some_and(|s| s.is_within(place_mm, near_mm) && s.may_paint_on(facet))
    }

    /// Whether all of a part of a facet is surely painted, by one straight piece.
    pub(super) fn paints_all(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        self.boxes.any_near(corners_mm[0], 0.0, |piece| {
            self.piece_paints_all(piece, facet, corners_mm)
        })
    }

    /// Whether a straight piece surely paints all of a part of a facet that the stroke does not
    /// paint as a whole.
    pub(super) fn piece_paints_all(
        &self,
        piece: usize,
        facet: u32,
        corners_mm: [DVec3; 3],
    ) -> bool {
        let mesh = self.surface.mesh();
        let piece = self.segments.get(piece);
        piece.is_some_and(|s| s.paints_all(mesh, facet, corners_mm, self.brush))
    }

    /// The mesh of the part that it is drawn on.
    pub(super) fn mesh(&self) -> &Mesh {
        self.surface.mesh()
    }

    /// Whether a point of a facet within `room_mm` of a place may be painted; it may say so of one
    /// that is not.
    pub(super) fn may_paint(&self, facet: u32, place_mm: DVec3, room_mm: f64) -> bool {
        self.boxes.any_near(place_mm, room_mm, |piece| {
            self.piece_comes_near(piece, facet, place_mm, room_mm)
        })
    }

    fn visited(&self) -> Visited {
        Visited::new(self.facet_count())
    }

    fn put(&mut self, segment: Segment) {
        self.boxes.push(segment.ends, self.brush.radius_mm);
        self.segments.push(Arc::new(segment));
    }

    fn part_without_whole(&mut self) {
        let whole = &self.whole;
        self.part
            .retain(|facet| whole.binary_search(facet).is_err());
        self.part.shrink_to_fit();
    }
}

/// Puts facets into others in rising order.
fn insert_each(facets: &mut Vec<u32>, new: Vec<u32>) {
    facets.extend(new);
    // Two rising runs: quick for a sort that finds them.
    facets.sort();
    facets.dedup();
}
