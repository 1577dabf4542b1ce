//! A finished part in a photograph: where it stands, and what colours it has by height and region.
//!
//! The part stands on the card's plane, on the card or beside it. The card tells where the camera
//! stood and how the light falls; the part's outline tells where it stands and how it is turned
//! ([`fit`]). Each pixel then shows a point of the skin ([`sights`]). The light on a face depends
//! on its direction, which the card does not tell: the chromaticity of what is seen is taken as it
//! is, the blend of the plan's spools that has it says how light it should be ([`locus`]), and a
//! smooth shading is fitted to all faces at once ([`shading`]). What remains is the colour
//! ([`colours`]).

pub mod colours;
mod contrast;
pub mod edges;
mod fault;
pub mod fit;
pub mod locus;
pub mod mask;
pub mod outline;
pub mod part;
mod placed;
pub mod posed;
pub mod reading;
pub mod shading;
pub mod sights;
pub mod tables;
mod turned;
pub mod views;

pub use colours::{Expected, Spot};
pub use fault::FinishedError;
pub use part::{Asked, InPhoto};
pub use posed::Rest;
