//! Shapes: meshes, layers, masks and distances, with no idea of colour.
//!
//! A part enters through [`read`], is checked by [`inspect`], mended where need be by
//! [`mend`](mod@mend), stands on the bed by [`place`], and is then asked three kinds of question: where a height cuts it
//! ([`layers`]), what lies at a point of its skin ([`surface`], [`field`]), and whether
//! that point belongs to a named area ([`mask`]). A part whose skin was cut into areas is cut
//! through into closed [`bodies`].
//!
//! Lengths are millimetres, `z` points up, and the build plate is `z = 0`.
//! Nothing here prints or writes; long work takes a [`Progress`] handle and can be
//! cancelled by it.

#[cfg(test)]
extern crate self as geometry;

pub mod appearance;
pub mod bodies;
pub mod field;
pub mod imprint;
pub mod inspect;
pub mod layers;
pub mod mask;
pub mod mend;
pub mod mesh;
pub mod pieces;
pub mod place;
pub mod plane;
pub mod progress;
pub mod read;
pub mod solids;
mod stretches;
pub mod surface;
mod unit;
pub mod write;

pub use field::Field;
pub use layers::{LayerPlan, LayerSpan};
pub use mask::Mask;
pub use mesh::Mesh;
pub use plane::Plane;
pub use progress::{Cancelled, Progress};
pub use surface::{Ray, Surface, SurfacePoint};

pub use glam::{DVec2, DVec3, Vec3};
