//! A number in mm for every point of the skin: what a fade runs along.

use glam::DVec3;
use serde::{Deserialize, Serialize};

use crate::mask::Stroke;

/// The measure along which a fade runs. Every variant gives millimetres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Field {
    /// Height above the build plate.
    Height,
    /// Distance along a direction, from the plane through the origin.
    Direction(DVec3),
    /// Straight distance from a point, mm.
    FromPoint(DVec3),
    /// Distance along the surface from a painted stroke.
    FromStroke(Stroke),
}
