//! Named areas of a part: each mask is a function of a point, never a list of facets,
//! so the same mask serves a coarse mesh, a fine mesh and a toolpath.
//!
//! [`Mask`] is what a plan says. [`PreparedMask`] is that mask laid on a part, ready to
//! answer for many points. One file here per kind of mask; each says exactly which points
//! it holds. To add a kind: a variant below, a file for it, and one line in each `match` of
//! [`prepared`](self), `check` and `heights`.

use glam::DVec3;
use serde::{Deserialize, Serialize};

use crate::imprint::{Letters, Picture};

pub(crate) mod among;
mod band;
mod bounds;
mod box_tree;
mod brushwork;
mod cells;
mod check;
mod colour;
mod connected;
mod crease;
mod cuboid;
mod cylinder;
mod error;
mod facets;
mod flat;
mod heights;
mod imprint;
mod mark;
mod on_part;
mod outline;
mod pieces;
mod polygon;
mod prepared;
mod reach;
mod segment_boxes;
mod shell;
mod sight;
mod slab;
mod smoothed;
mod span;
mod sphere;
mod stroke;
mod stroke_index;
pub(crate) mod values;

pub use among::{MOST_COLOURS, Nearness};
pub use bounds::Imprint;
pub use brushwork::Brushwork;
pub use colour::{LoadedLabels, ModelColour, SideFile};
pub use error::MaskError;
pub use imprint::PreparedImprint;
pub use mark::Mark;
pub use on_part::OnPart;
pub use outline::{CutOpen, MOST_CORNERS, Outline};
pub use prepared::PreparedMask;
pub use stroke::PreparedStroke;

/// An area of the part. Lengths in mm, angles in degrees.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Mask {
    /// All of the part.
    Whole,
    /// Heights from `from_mm` up to, but not including, `to_mm`; so stacked bands share no
    /// point and leave none out. A band that ends at the top of the part, or above it, has
    /// the top too.
    Band {
        /// Lower height.
        from_mm: f64,
        /// Upper height.
        to_mm: f64,
    },
    /// As a band, but along any direction, measured from the plane through the origin.
    Slab {
        /// Direction; its length does not matter.
        direction: DVec3,
        /// Near plane.
        from_mm: f64,
        /// Far plane.
        to_mm: f64,
    },
    /// Inside a sphere, or on it.
    Sphere {
        /// Centre.
        centre_mm: DVec3,
        /// Radius.
        radius_mm: f64,
    },
    /// Inside a box with sides along the axes, or on it.
    Box {
        /// Least corner.
        min_mm: DVec3,
        /// Greatest corner.
        max_mm: DVec3,
    },
    /// Inside a round cylinder between two points of its axis, or on it.
    Cylinder {
        /// Start of the axis.
        from_mm: DVec3,
        /// End of the axis.
        to_mm: DVec3,
        /// Radius.
        radius_mm: f64,
    },
    /// The connected shell of the mesh that passes nearest to a point.
    Shell {
        /// A point on or near the shell.
        near_mm: DVec3,
    },
    /// An object or group of the mesh file, by its name there.
    Object(String),
    /// The facets reached from a point without crossing an edge sharper than an angle.
    Crease {
        /// A point on or near the first facet.
        near_mm: DVec3,
        /// The sharpest edge that is still crossed, as the angle between facet normals.
        angle_deg: f64,
    },
    /// The facets reached from a point whose normals are within an angle of the first one's.
    Flat {
        /// A point on or near the first facet.
        near_mm: DVec3,
        /// The greatest angle between a facet's normal and that of the first.
        angle_deg: f64,
    },
    /// What lies inside an outline as seen from somewhere.
    Outline(Box<Outline>),
    /// A painted stroke.
    Stroke(Stroke),
    /// The dark, the light or a colour of a picture.
    Picture(Box<Picture>),
    /// A line of text.
    Text(Box<Letters>),
    /// Where a coloured model has a colour.
    Colour(Box<ModelColour>),
    /// Where all of these are.
    All(Vec<Mask>),
    /// Where any of these is.
    Any(Vec<Mask>),
    /// Where this is not.
    Not(Box<Mask>),
    /// The connected pieces of an area that are nearest to some points. Gaps and bridges narrower
    /// than 0.2 mm may be missed.
    Connected {
        /// A point in each piece, or near it.
        near_mm: Vec<DVec3>,
        /// The area.
        within: Box<Mask>,
    },
    /// An area with a smoother edge: a point is in it if most of the skin about it, up to a length
    /// away, is in the area. What is nearer to the point counts for more: (1 − (d / length)²)² at
    /// a distance d. So what is narrower than half of the length goes, and straight edges stay.
    Smoothed {
        /// The length.
        by_mm: f64,
        /// The area.
        of: Box<Mask>,
    },
}

/// A stroke of paint: a polyline of dabs on the surface.
///
/// A point is painted when it lies within `radius_mm` of a straight piece of the polyline
/// *and* can be reached along the surface, within `reach_mm`, from the line which that
/// piece draws on the surface; so paint does not bleed through a thin wall.
///
/// The edge that the radius makes is exact, whatever the facets. The edge that the reach
/// makes is exact to half a part in a hundred of the reach.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stroke {
    /// The dabs, in the order painted; one alone makes a dot.
    pub dabs_mm: Vec<DVec3>,
    /// Radius of the brush.
    pub radius_mm: f64,
    /// Greatest distance along the surface; 1.5 × the radius unless given, which lets
    /// paint round a right-angled edge but not round a wall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reach_mm: Option<f64>,
}

impl Stroke {
    /// Greatest distance along the surface, mm: as given, or 1.5 × the radius, a little
    /// more than √2, the longest way round a right-angled edge.
    pub(crate) fn reach_or_default_mm(&self) -> f64 {
        self.reach_mm.unwrap_or(1.5 * self.radius_mm)
    }
}

#[cfg(test)]
mod connected_tests;
#[cfg(test)]
mod outline_tests;
#[cfg(test)]
mod smoothed_tests;
#[cfg(test)]
mod tests;
