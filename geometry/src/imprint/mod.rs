//! Pictures and letters laid on a part, as functions of a point.
//!
//! A [`Raster`] holds what a file shows, whoever read it. [`Laid`] takes a point of the part to a
//! place on the picture: straight along a direction, round an axis, or along the skin. A [`Stencil`]
//! is the edge between the picture's dark and light, or of one of its colours: a signed distance at
//! every pixel, interpolated between them, so that the edge is a clean line and not a stair.
//! [`Sorted`] has the place in a list of colours that each pixel was given.

mod contour;
mod distance;
mod laid;
mod letters;
mod loaded;
mod on_skin;
mod picture;
mod placed;
mod raster;
mod smooth;
mod sorted;
mod stencil;

pub(crate) use picture::check_hash;

pub use laid::Laid;
pub use letters::{Letters, MOST_BOLDER};
pub use loaded::Loaded;
pub use picture::Picture;
pub use placed::Placed;
pub use raster::{Raster, RasterError};
pub use sorted::{OneColour, Sorted};
pub use stencil::{Covers, Stencil};

#[cfg(test)]
mod on_skin_tests;
#[cfg(test)]
mod sorted_tests;
#[cfg(test)]
mod tests;
