//! What comes into a facet, and how far away it makes a point of it.

use glam::DVec3;

use super::edges::ends;
use super::window::length;
use crate::Mesh;
use crate::surface::facet::nearest_on_segment;

/// Something that ways to the points of a facet come from.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Front {
    /// A piece of the line itself, in the facet.
    Line {
        /// Where it begins, mm.
        from: DVec3,
        /// Where it ends, mm.
        to: DVec3,
    },
    /// A corner of the facet.
    Corner {
        /// Which.
        corner: u8,
        /// The distance there, mm.
        distance: f64,
    },
    /// Part of a side, seen from a source beyond it.
    Window {
        /// Which side.
        side: u8,
        /// Where it begins and ends, mm from the start of the side's edge.
        from: f64,
        /// See `from`.
        to: f64,
        /// The source along the edge and off it, mm.
        x: f64,
        /// See `x`.
        y: f64,
        /// The distance at the source, mm.
        offset: f64,
    },
}

impl Front {
    /// The length of the shortest way from it to a point of the facet, mm.
    pub(crate) fn distance(&self, mesh: &Mesh, facet: u32, point: DVec3) -> f64 {
        match *self {
            Self::Line { from, to } => nearest_on_segment(from, to, point).distance(point),
            Self::Corner { corner, distance } => {
                let corners = mesh.triangles()[facet as usize];
                let at = mesh.vertices()[corners[corner as usize] as usize];
                distance + at.distance(point)
            }
            Self::Window {
                side,
                from,
                to,
                x,
                y,
                offset,
            } => {
                let (place, down) = place_off(mesh, (facet, side as usize), point);
                let height = y + down;
                let straight = match height > 0.0 {
                    true => x + (place - x) * y / height,
                    false => place,
                };
                let crossing = straight.clamp(from, to);
                offset + length(crossing - x, y) + length(place - crossing, down)
            }
        }
    }

    /// No point of the facet is nearer than this, mm.
    pub(crate) fn least(&self) -> f64 {
        match *self {
            Self::Line { .. } => 0.0,
            Self::Corner { distance, .. } => distance,
            Self::Window {
                from,
                to,
                x,
                y,
                offset,
                ..
            } => offset + length(x.clamp(from, to) - x, y),
        }
    }
}

/// Where a point of a facet lies seen from the edge of one of its sides: along the edge from its
/// start, and off it, mm.
pub(super) fn place_off(mesh: &Mesh, (facet, side): (u32, usize), point: DVec3) -> (f64, f64) {
    let (start, end) = ends(mesh, facet, side);
    let [start, end] = [start, end].map(|v| mesh.vertices()[v as usize]);
    let along = (end - start).normalize_or_zero();
    let from = point - start;
    (from.dot(along), from.cross(along).length())
}
