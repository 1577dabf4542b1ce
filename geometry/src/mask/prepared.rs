//! Masks laid on a part, ready for many points.

use std::sync::Arc;

use glam::DVec3;

use super::colour::PreparedColour;
use super::connected::Pieces;
use super::facets::FacetSet;
use super::outline::PreparedOutline;
use super::slab::Slab;
use super::smoothed::Smoothed;
use super::span::Span;
use super::{
    Mask, MaskError, PreparedImprint, PreparedStroke, band, crease, cuboid, cylinder, flat, shell,
    sphere,
};
use crate::surface::Classes;
use crate::{Progress, Surface, SurfacePoint};

/// A mask laid on a part.
///
/// ```
/// use std::sync::Arc;
/// use geometry::{DVec3, Mask, Mesh, Progress, Surface, SurfacePoint};
/// use geometry::mask::PreparedMask;
///
/// let corners = [(0.0, 0.0), (10.0, 0.0), (0.0, 10.0)];
/// let upright = corners.map(|(x, z)| DVec3::new(x, 0.0, z)).to_vec();
/// let surface = Surface::new(Arc::new(Mesh::new(upright, vec![[0, 1, 2]])?));
///
/// let lower = Mask::Band { from_mm: 0.0, to_mm: 4.0 };
/// let lower = PreparedMask::new(&lower, &surface, &Progress::new())?;
/// let at = |z| SurfacePoint { point_mm: DVec3::new(0.0, 0.0, z), facet: 0 };
/// assert!(lower.contains(at(3.999)));
/// assert!(!lower.contains(at(4.0)));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone)]
pub struct PreparedMask(Ready);

#[derive(Clone)]
enum Ready {
    Whole,
    Band(Span),
    Slab(Slab),
    Sphere(DVec3, f64),
    Box(DVec3, DVec3),
    Cylinder(DVec3, DVec3, f64),
    Facets(FacetSet),
    Outline(Arc<PreparedOutline>),
    Stroke(Arc<PreparedStroke>),
    Imprint(PreparedImprint),
    Colour(PreparedColour),
    All(Vec<Ready>),
    Any(Vec<Ready>),
    Not(Box<Ready>),
    Connected(Box<Ready>, Arc<Pieces>),
    /// An area made smoother, and the length.
    Smoothed(Box<Ready>, Arc<Smoothed>, f64),
}

impl PreparedMask {
    /// Checks the mask and lays it on the part. Analytic masks take no time; a shell or a
    /// crease goes once over the mesh; a stroke, or a picture on the skin, works in its own
    /// neighbourhood only. What is connected or smoothed cuts the skin along the area's edge.
    ///
    /// # Errors
    /// [`MaskError`] from [`Mask::check`], or because the work was cancelled.
    pub fn new(mask: &Mask, surface: &Surface, progress: &Progress) -> Result<Self, MaskError> {
        mask.check()?;
        Ok(Self(Ready::new(mask, surface, progress)?))
    }

    /// Whether a point of the skin is in the mask. The analytic masks look at the point
    /// alone, shells and creases at its facet alone. A picture on the skin takes the skin's
    /// nearest point where the point does not lie on its facet.
    pub fn contains(&self, point: SurfacePoint) -> bool {
        self.0.contains(point)
    }

    /// Calls `each` with every picture and line of text in the mask.
    pub fn each_imprint(&self, each: &mut impl FnMut(&PreparedImprint)) {
        self.0.each_imprint(each);
    }

    /// A distance within which every point of the skin gets the same answer as this place, mm;
    /// there may be room to spare, and 0 where nothing is known.
    ///
    /// ```
    /// use std::sync::Arc;
    /// use geometry::{DVec3, Mask, Progress, Surface, solids};
    /// use geometry::mask::PreparedMask;
    ///
    /// let surface = Surface::new(Arc::new(solids::cylinder(20.0, 50.0, 64)?));
    /// let ball = Mask::Sphere { centre_mm: DVec3::ZERO, radius_mm: 30.0 };
    /// let ball = PreparedMask::new(&ball, &surface, &Progress::new())?;
    /// assert_eq!(ball.clearance_mm(DVec3::new(0.0, 20.0, 0.0)), 10.0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn clearance_mm(&self, place_mm: DVec3) -> f64 {
        self.0.clearance_mm(place_mm)
    }

    /// Whether every point of a part of a facet surely gets the same answer; where it is not
    /// known, no.
    pub fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        self.0.is_even(facet, corners_mm)
    }
}

impl From<PreparedStroke> for PreparedMask {
    fn from(stroke: PreparedStroke) -> Self {
        Self(Ready::Stroke(Arc::new(stroke)))
    }
}

impl Ready {
    fn new(mask: &Mask, surface: &Surface, progress: &Progress) -> Result<Self, MaskError> {
        progress.check()?;
        let all = |parts: &[Mask]| -> Result<Vec<Self>, MaskError> {
            let parts = parts.iter();
            parts.map(|m| Self::new(m, surface, progress)).collect()
        };
        Ok(match mask {
            Mask::Whole => Self::Whole,
            Mask::Band { from_mm, to_mm } => Self::Band(band::prepare(*from_mm, *to_mm, surface)),
            Mask::Slab {
                direction,
                from_mm,
                to_mm,
            } => Self::Slab(Slab::new(*direction, *from_mm, *to_mm, surface)?),
            Mask::Sphere {
                centre_mm,
                radius_mm,
            } => Self::Sphere(*centre_mm, *radius_mm),
            Mask::Box { min_mm, max_mm } => Self::Box(*min_mm, *max_mm),
            Mask::Cylinder {
                from_mm,
                to_mm,
                radius_mm,
            } => Self::Cylinder(*from_mm, *to_mm, *radius_mm),
            Mask::Shell { near_mm } => Self::Facets(shell::prepare(*near_mm, surface)),
            Mask::Object(name) => Self::Facets(shell::prepare_object(name, surface)?),
            Mask::Crease { near_mm, angle_deg } => {
                Self::Facets(crease::prepare(*near_mm, *angle_deg, surface))
            }
            Mask::Flat { near_mm, angle_deg } => {
                Self::Facets(flat::prepare(*near_mm, *angle_deg, surface))
            }
            Mask::Outline(outline) => {
                Self::Outline(Arc::new(PreparedOutline::new(outline, surface)?))
            }
            Mask::Stroke(stroke) => {
                Self::Stroke(Arc::new(PreparedStroke::new(stroke, surface, progress)?))
            }
            Mask::Picture(picture) => {
                Self::Imprint(PreparedImprint::of_picture(picture, surface, progress)?)
            }
            Mask::Text(letters) => {
                Self::Imprint(PreparedImprint::of_letters(letters, surface, progress)?)
            }
            Mask::Colour(colour) => Self::Colour(PreparedColour::new(colour, surface)?),
            Mask::All(parts) => Self::All(all(parts)?),
            Mask::Any(parts) => Self::Any(all(parts)?),
            Mask::Not(part) => Self::Not(Box::new(Self::new(part, surface, progress)?)),
            Mask::Connected { near_mm, within } => {
                let area = Self::new(within, surface, progress)?;
                let levels = within.level_edges_mm();
                let pieces = Pieces::of(surface, near_mm, levels, ByReady(&area), progress)?;
                Self::Connected(Box::new(area), Arc::new(pieces))
            }
            Mask::Smoothed { by_mm, of } => {
                let area = Self::new(of, surface, progress)?;
                let levels = of.level_edges_mm();
                let smooth = Smoothed::of(surface, *by_mm, levels, ByReady(&area), progress)?;
                Self::Smoothed(Box::new(area), Arc::new(smooth), *by_mm)
            }
        })
    }

    fn each_imprint(&self, each: &mut impl FnMut(&PreparedImprint)) {
        match self {
            Self::Imprint(imprint) => each(imprint),
            Self::All(parts) | Self::Any(parts) => {
                parts.iter().for_each(|part| part.each_imprint(each));
            }
            Self::Not(part) | Self::Connected(part, _) | Self::Smoothed(part, ..) => {
                part.each_imprint(each);
            }
            _ => {}
        }
    }

    fn contains(&self, at: SurfacePoint) -> bool {
        let point = at.point_mm;
        match self {
            Self::Whole => true,
            Self::Band(span) => span.contains(point.z),
            Self::Slab(slab) => slab.contains(point),
            Self::Sphere(centre, radius) => sphere::contains(*centre, *radius, point),
            Self::Box(min, max) => cuboid::contains(*min, *max, point),
            Self::Cylinder(from, to, radius) => cylinder::contains(*from, *to, *radius, point),
            Self::Facets(facets) => facets.contains(at.facet),
            Self::Outline(outline) => outline.contains(at),
            Self::Stroke(stroke) => stroke.contains(at),
            Self::Imprint(imprint) => imprint.contains(at),
            Self::Colour(colour) => colour.contains(at),
            Self::All(parts) => parts.iter().all(|part| part.contains(at)),
            Self::Any(parts) => parts.iter().any(|part| part.contains(at)),
            Self::Not(part) => !part.contains(at),
            Self::Connected(area, pieces) => pieces.contains(at) && area.contains(at),
            Self::Smoothed(_, smooth, _) => smooth.contains(at),
        }
    }

    fn is_even(&self, facet: u32, corners: [DVec3; 3]) -> bool {
        match self {
            Self::Facets(_) => true,
            Self::All(parts) | Self::Any(parts) => {
                parts.iter().all(|part| part.is_even(facet, corners))
            }
            Self::Not(part) => part.is_even(facet, corners),
            Self::Connected(area, pieces) => pieces.is_even(facet) && area.is_even(facet, corners),
            Self::Smoothed(_, smooth, _) if smooth.is_even(facet) => true,
            _ => {
                let middle = corners.iter().sum::<DVec3>() / 3.0;
                let size = corners.map(|corner| corner.distance(middle));
                self.clearance_mm(middle) > size.into_iter().fold(0.0, f64::max)
            }
        }
    }

    fn clearance_mm(&self, place: DVec3) -> f64 {
        match self {
            Self::Whole => f64::INFINITY,
            Self::Band(span) => span.steady(place.z),
            Self::Slab(slab) => slab.clearance_mm(place),
            Self::Sphere(centre, radius) => sphere::clearance_mm(*centre, *radius, place),
            Self::Box(min, max) => cuboid::clearance_mm(*min, *max, place),
            Self::Cylinder(from, to, radius) => cylinder::clearance_mm(*from, *to, *radius, place),
            Self::Facets(_) => 0.0,
            Self::Outline(outline) => outline.clearance_mm(place),
            Self::Stroke(stroke) => stroke.clearance_mm(place),
            Self::Imprint(imprint) => imprint.clearance_mm(place),
            Self::Colour(colour) => colour.clearance_mm(place),
            Self::All(parts) | Self::Any(parts) => {
                let each = parts.iter().map(|part| part.clearance_mm(place));
                each.fold(f64::INFINITY, f64::min)
            }
            Self::Not(part) => part.clearance_mm(place),
            // Where one piece ends another may be near.
            Self::Connected(..) => 0.0,
            Self::Smoothed(area, _, by_mm) => (area.clearance_mm(place) - by_mm).max(0.0),
        }
    }
}

/// Whether points are in a mask, as their class.
#[derive(Clone, Copy)]
struct ByReady<'a>(&'a Ready);

impl Classes for ByReady<'_> {
    fn class(&self, at: SurfacePoint) -> u32 {
        u32::from(self.0.contains(at))
    }

    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        self.0.is_even(facet, corners_mm)
    }
}
