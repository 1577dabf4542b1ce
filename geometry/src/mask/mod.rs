//! Named areas of a part: each mask is a function of a point, never a list of facets,
//! so the same mask serves a coarse mesh, a fine mesh and a toolpath.

use glam::DVec3;
use serde::{Deserialize, Serialize};

/// An area of the part. Lengths in mm, angles in degrees.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Mask {
    /// All of the part.
    Whole,
    /// Heights from `from_mm` up to, but not including, `to_mm`.
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
    /// Inside a sphere.
    Sphere {
        /// Centre.
        centre_mm: DVec3,
        /// Radius.
        radius_mm: f64,
    },
    /// Inside a box with sides along the axes.
    Box {
        /// Least corner.
        min_mm: DVec3,
        /// Greatest corner.
        max_mm: DVec3,
    },
    /// Inside a round cylinder between two points of its axis.
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
    /// The facets reached from a point without crossing an edge sharper than an angle.
    Crease {
        /// A point on or near the first facet.
        near_mm: DVec3,
        /// The sharpest edge that is still crossed, as the angle between facet normals.
        angle_deg: f64,
    },
    /// A painted stroke.
    Stroke(Stroke),
    /// Where all of these are.
    All(Vec<Mask>),
    /// Where any of these is.
    Any(Vec<Mask>),
    /// Where this is not.
    Not(Box<Mask>),
}

/// A stroke of paint: a polyline of dabs on the surface.
///
/// A point is painted when it lies within `radius_mm` of the polyline *and* can be reached
/// from it along the surface within `reach_mm`, so paint does not bleed through a thin wall.
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
