//! A number in mm for every point of the skin: what a fade runs along.
//!
//! [`Field`] is what a plan says; [`PreparedField`] is that field laid on a part.
//! One file here per kind of field.

use glam::DVec3;
use serde::{Deserialize, Serialize};

use crate::imprint::Picture;
use crate::mask::Stroke;

mod bracketed;
mod error;
mod from_stroke;
mod picture;
mod prepared;
mod visible;

pub use error::FieldError;
pub use prepared::PreparedField;
pub use visible::visible_area;

/// The measure along which a fade runs. Every variant but a picture gives millimetres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Field {
    /// Height above the build plate.
    Height,
    /// Distance along a direction, from the plane through the origin.
    Direction(#[serde(deserialize_with = "bracketed::deserialize")] DVec3),
    /// Straight distance from a point, mm.
    FromPoint(#[serde(deserialize_with = "bracketed::deserialize")] DVec3),
    /// Distance along the surface from the line that a stroke draws on it, whatever the
    /// stroke's radius. Infinite on shells that the stroke does not touch.
    FromStroke(Stroke),
    /// The grey of a picture, and no length: 0 is black and 100 white.
    Picture(Box<Picture>),
}

#[cfg(test)]
mod tests;
