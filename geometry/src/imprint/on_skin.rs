//! A picture that lies on the skin as a sticker does.
//!
//! Its middle is a point of the skin. Another point of the skin takes the point of the picture that
//! is as far from its middle, in the direction in which the shortest way along the skin leaves the
//! middle ([`Polar`]). So lengths and angles hold along every straight line through the middle, and
//! all over the picture where the skin can be laid flat.

use glam::{DQuat, DVec2, DVec3};

use super::Laid;
use super::laid::{Seen, top};
use crate::mask::MaskError;
use crate::mask::values::unit;
use crate::surface::facet::nearest_on;
use crate::surface::geodesic::{Polar, Start, Stopped};
use crate::{Progress, Surface, SurfacePoint};

/// A point this near to the facet that it is said to lie on lies on it, mm.
const ON_FACET_MM: f64 = 1e-6;

/// The skin about a picture's middle.
#[derive(Clone, Debug)]
pub(super) struct OnSkin {
    surface: Surface,
    start: Start,
    /// Anything farther from the middle, along the skin, is beyond the picture, mm.
    reach_mm: f64,
    /// Where points of the skin fall; none before it is asked for.
    polar: Option<Polar>,
}

impl OnSkin {
    pub(super) fn new(surface: &Surface, laid: &Laid, reach_mm: f64) -> Result<Self, MaskError> {
        let (at, most_mm) = (laid.at_mm(), laid.depth_mm());
        let near = surface.nearest(at);
        let off_mm = near.point_mm.distance(at);
        if off_mm > most_mm {
            return Err(MaskError::OffSkin {
                at,
                off_mm,
                most_mm,
            });
        }
        let near = with_area(surface, near).ok_or(MaskError::NoAreaAt { at })?;
        let normal = surface.normal(near.facet);
        let along = match laid {
            Laid::OnSkin {
                along: Some(along), ..
            } => unit(*along)?,
            _ => -normal,
        };
        Ok(Self {
            surface: surface.clone(),
            start: Start::new(surface, near, pressed(top(along)?, -along, normal)),
            reach_mm,
            polar: None,
        })
    }

    /// The same, with where points of the skin fall.
    pub(super) fn measured(&self, progress: &Progress) -> Result<Self, MaskError> {
        let polar = Polar::new(&self.surface, &self.start, self.reach_mm, progress);
        let polar = polar.map_err(|stopped| match stopped {
            Stopped::Cancelled(cancelled) => MaskError::Cancelled(cancelled),
            Stopped::TooMany => MaskError::TooInvolvedToLay,
        })?;
        Ok(Self {
            polar: Some(polar),
            ..self.clone()
        })
    }

    /// Where a point falls on the picture, and how far off the skin it is. A point that the
    /// picture doesn't reach falls beside it, in the direction in which it lies as one looks at
    /// the middle.
    pub(super) fn see(&self, point: DVec3, facet: Option<u32>, depth_mm: f64) -> Seen {
        let from = point - self.start.at().point_mm;
        // No way along the skin is shorter than the straight one.
        if from.length() <= self.reach_mm + depth_mm
            && let Some(polar) = &self.polar
        {
            let mesh = self.surface.mesh();
            let on = facet.filter(|&facet| {
                let known = (facet as usize) < mesh.triangles().len();
                known
                    && nearest_on(mesh.corners(facet as usize), point).distance(point)
                        <= ON_FACET_MM
            });
            let near = match on {
                Some(facet) => SurfacePoint {
                    point_mm: point,
                    facet,
                },
                None => self.surface.nearest(point),
            };
            if let Some(on) = polar.at(mesh, &self.start, near.facet, near.point_mm) {
                return Seen {
                    on,
                    off_mm: near.point_mm.distance(point),
                };
            }
        }
        let beside = DVec2::from_array(self.start.axes().map(|axis| from.dot(axis)));
        let beyond = beside.try_normalize().unwrap_or(DVec2::X);
        Seen {
            on: beyond * beside.length().max(2.0 * self.reach_mm),
            off_mm: f64::INFINITY,
        }
    }

    /// The point of the skin under a point of the picture, mm to the right and up from its
    /// middle, and the outward direction there.
    pub(super) fn place(&self, on: DVec2) -> (DVec3, DVec3) {
        self.start.walk(&self.surface, on)
    }

    /// How far a point is from all that the picture may reach, mm; 0 within that. Within reach
    /// nothing is known: the skin may lie in folds, and where shortest ways meet, places jump.
    pub(super) fn beyond_mm(&self, point: DVec3, depth_mm: f64) -> f64 {
        let off_mm = point.distance(self.start.at().point_mm);
        (off_mm - self.reach_mm - depth_mm).max(0.0)
    }
}

/// The same point, on a facet that has an area.
fn with_area(surface: &Surface, at: SurfacePoint) -> Option<SurfacePoint> {
    let others = surface.adjacency().neighbours(at.facet).map(|(f, _)| f);
    let facet = std::iter::once(at.facet).chain(others).find(|&facet| {
        let corners = surface.mesh().corners(facet as usize);
        let off_mm = nearest_on(corners, at.point_mm).distance(at.point_mm);
        off_mm <= ON_FACET_MM && surface.normal(facet) != DVec3::ZERO
    })?;
    Some(SurfacePoint { facet, ..at })
}

/// What a direction becomes when what faced one way is turned to face another, by the shortest
/// turn; unchanged where they are opposite.
fn pressed(direction: DVec3, faced: DVec3, faces: DVec3) -> DVec3 {
    match faced.dot(faces) < -1.0 + 1e-9 {
        true => direction,
        false => DQuat::from_rotation_arc(faced, faces) * direction,
    }
}
