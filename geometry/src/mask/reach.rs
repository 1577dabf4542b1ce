//! What one straight piece of a stroke reaches.

use glam::DVec3;

use super::MaskError;
use crate::surface::Visited;
use crate::surface::facet::{comes_within, nearest_on_segment};
use crate::surface::geodesic::{
    Bounds, Chart, Disc, Distances, Front, Line, Stopped, TOLERANCE, trace,
};
use crate::{Mesh, Progress, Surface};

/// What is said of a part of a facet holds for points that lie so far outside of it as well, mm:
/// some are moved a little off an edge before they are asked about.
pub(super) const SURELY_MM: f64 = 3e-3;

/// How far a stroke's paint goes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Brush {
    /// From the straight piece, mm.
    pub(super) radius_mm: f64,
    /// From its line along the skin, mm.
    pub(super) reach_mm: f64,
}

/// What a straight piece, of which the facets painted as a whole are told apart, paints.
#[derive(Debug)]
pub(super) struct Segment {
    pub(super) ends: [DVec3; 2],
    /// The facets it may paint a part of, in rising order.
    facets: Box<[u32]>,
    /// Where each of those has its first front, if not all of it is within reach.
    starts: Box<[u32]>,
    /// What ways into those facets come from; for a facet without any, all is within reach.
    fronts: Box<[Front]>,
}

impl Segment {
    /// Finds out what a straight piece paints; the facets that it paints as a whole come besides.
    /// `visited` is for all facets, and without marks.
    pub(super) fn new(
        surface: &Surface,
        ends: [DVec3; 2],
        brush: Brush,
        visited: &mut Visited,
        progress: &Progress,
    ) -> Result<(Self, Vec<u32>), MaskError> {
        progress.check()?;
        let Some(line) = draw(surface, ends, brush.radius_mm) else {
            return Ok((Self::nothing(ends), Vec::new()));
        };
        match hill(surface, ends, &line, brush, visited) {
            Some(facets) => Ok(Self::on_hill(surface.mesh(), ends, facets, brush)),
            None => Self::measured(surface, ends, &line, brush, progress),
        }
    }

    fn nothing(ends: [DVec3; 2]) -> Self {
        Self {
            ends,
            facets: Box::default(),
            starts: Box::default(),
            fronts: Box::default(),
        }
    }

    /// Where all that is near is within reach.
    fn on_hill(mesh: &Mesh, ends: [DVec3; 2], facets: Vec<u32>, brush: Brush) -> (Self, Vec<u32>) {
        let (mut full, mut part) = (Vec::new(), Vec::new());
        for facet in facets {
            let corners = mesh.corners(facet as usize);
            if all_within(corners, ends, brush.radius_mm) {
                full.push(facet);
            } else if comes_within(corners, ends, brush.radius_mm) {
                part.push(facet);
            }
        }
        part.sort_unstable();
        let segment = Self {
            facets: part.into(),
            ..Self::nothing(ends)
        };
        (segment, full)
    }

    fn measured(
        surface: &Surface,
        ends: [DVec3; 2],
        line: &Line,
        brush: Brush,
        progress: &Progress,
    ) -> Result<(Self, Vec<u32>), MaskError> {
        let bounds = Bounds {
            reach_mm: brush.reach_mm,
            tube: Some((ends, brush.radius_mm)),
            tolerance: TOLERANCE,
        };
        let distances = Distances::new(surface, &line.pieces, bounds, false, progress);
        let distances = distances.map_err(|stopped| match stopped {
            Stopped::Cancelled(cancelled) => MaskError::Cancelled(cancelled),
            Stopped::TooMany => MaskError::TooInvolved,
        })?;
        let mesh = surface.mesh();
        let (mut full, mut part) = (Vec::new(), Vec::new());
        let (mut starts, mut fronts) = (Vec::new(), Vec::new());
        for facet in distances.facets() {
            let corners = mesh.corners(facet as usize);
            if !comes_within(corners, ends, brush.radius_mm) {
                continue;
            }
            let begin = fronts.len() as u32;
            if is_whole(&distances, facet, corners, brush.reach_mm) {
                if all_within(corners, ends, brush.radius_mm) {
                    full.push(facet);
                    continue;
                }
            } else {
                distances.fronts(facet, |front| {
                    if front.least() <= brush.reach_mm {
                        fronts.push(front);
                    }
                });
                if fronts.len() as u32 == begin {
                    continue;
                }
            }
            part.push(facet);
            starts.push(begin);
        }
        let segment = Self {
            ends,
            facets: part.into(),
            starts: if fronts.is_empty() {
                Box::default()
            } else {
                starts.into()
            },
            fronts: fronts.into(),
        };
        Ok((segment, full))
    }

    /// The facets it may paint a part of, in rising order.
    pub(super) fn facets(&self) -> &[u32] {
        &self.facets
    }

    /// Whether it may paint a part of a facet that it does not paint as a whole.
    pub(super) fn may_paint_on(&self, facet: u32) -> bool {
        self.facets.binary_search(&facet).is_ok()
    }

    /// Whether the straight piece itself comes within a distance of a place, mm.
    pub(super) fn is_within(&self, place: DVec3, near_mm: f64) -> bool {
        let [a, b] = self.ends;
        nearest_on_segment(a, b, place).distance_squared(place) <= near_mm * near_mm
    }

    /// Whether it surely paints all of a part of a facet that it does not paint as a whole.
    pub(super) fn paints_all(
        &self,
        mesh: &Mesh,
        facet: u32,
        corners: [DVec3; 3],
        brush: Brush,
    ) -> bool {
        // What is near a straight piece is convex.
        if !all_within(corners, self.ends, (brush.radius_mm - SURELY_MM).max(0.0)) {
            return false;
        }
        let Ok(place) = self.facets.binary_search(&facet) else {
            return false;
        };
        let Some(fronts) = self.fronts_of(place).filter(|fronts| !fronts.is_empty()) else {
            return true;
        };
        // A way to a point is no longer than one to another point and from there to it.
        let middle = corners.iter().sum::<DVec3>() / 3.0;
        let size = corners.map(|corner| corner.distance(middle));
        let size = size.into_iter().fold(0.0, f64::max) + SURELY_MM;
        let within = |front: &Front| front.distance(mesh, facet, middle) + size <= brush.reach_mm;
        fronts.iter().any(within)
    }

    /// What decides about the facet at a place of the list; none if all of it is within reach.
    fn fronts_of(&self, place: usize) -> Option<&[Front]> {
        let &begin = self.starts.get(place)?;
        let end = self.starts.get(place + 1).copied();
        let end = end.map_or(self.fronts.len(), |end| end as usize);
        Some(self.fronts.get(begin as usize..end).unwrap_or_default())
    }

    /// Whether a point of a facet that it does not paint as a whole is painted.
    pub(super) fn paints(&self, mesh: &Mesh, facet: u32, point: DVec3, brush: Brush) -> bool {
        let [a, b] = self.ends;
        let off = nearest_on_segment(a, b, point).distance_squared(point);
        if off > brush.radius_mm * brush.radius_mm {
            return false;
        }
        let Ok(place) = self.facets.binary_search(&facet) else {
            return false;
        };
        let Some(fronts) = self.fronts_of(place) else {
            return true;
        };
        let within = |front: &Front| front.distance(mesh, facet, point) <= brush.reach_mm;
        fronts.is_empty() || fronts.iter().any(within)
    }
}

/// The line that a piece draws on the skin; a dab away from the skin draws nothing.
fn draw(surface: &Surface, ends: [DVec3; 2], radius_mm: f64) -> Option<Line> {
    let on_skin = ends.map(|p| surface.nearest_within(p, radius_mm));
    match on_skin {
        [Some(a), Some(b)] if a.point_mm == b.point_mm => Some(Line::dot(a)),
        [Some(a), Some(b)] => Some(trace(surface, a, b, radius_mm)),
        [Some(a), None] | [None, Some(a)] => Some(Line::dot(a)),
        [None, None] => None,
    }
}

/// The facets about a line, if all of them that are near enough are surely within reach.
fn hill(
    surface: &Surface,
    ends: [DVec3; 2],
    line: &Line,
    brush: Brush,
    visited: &mut Visited,
) -> Option<Vec<u32>> {
    let plane = line.plane?;
    let [a, b] = line.ends;
    // As seen from above, paint is no farther from the line than this.
    let off = ends[0].distance(a).max(ends[1].distance(b));
    let near_mm = brush.radius_mm + off;
    let disc = Disc {
        // A way that ends so near and is no longer than the reach is never farther off.
        radius_mm: 0.5 * (brush.reach_mm + near_mm),
        near_mm,
        reach_mm: brush.reach_mm,
    };
    if near_mm >= brush.reach_mm {
        return None;
    }
    let from = || line.pieces.iter().map(|piece| piece.facet);
    let mesh = surface.mesh();
    let mut up: DVec3 = from().map(|f| mesh.area_vector(f as usize)).sum();
    for _ in 0..2 {
        let chart = Chart::new(a, b, up - plane * plane.dot(up))?;
        match chart.hill(surface, from(), disc, visited) {
            Ok(facets) => return Some(facets),
            Err(sum) => up = sum,
        }
    }
    None
}

fn all_within(corners: [DVec3; 3], ends: [DVec3; 2], radius_mm: f64) -> bool {
    corners.iter().all(|&corner| {
        let off = nearest_on_segment(ends[0], ends[1], corner).distance_squared(corner);
        off <= radius_mm * radius_mm
    })
}

/// Whether all of a facet is surely within reach: every point of a triangle is within its longest
/// side over the root of three of a corner, as the radius about its corners is, if it is acute.
fn is_whole(distances: &Distances, facet: u32, corners: [DVec3; 3], reach_mm: f64) -> bool {
    let [a, b, c] = corners;
    let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
    let farthest = (0..3).map(|i| distances.at_corner(facet, i));
    farthest.fold(0.0, f64::max) + longest / 3f64.sqrt() <= reach_mm
}
