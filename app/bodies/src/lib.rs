//! A painted part as closed bodies, one for each blend that is stored as a tool.
//!
//! For print steps that take several tools: the part is cut into solids that share their walls,
//! the blends are stored in the firmware once, and the print step changes tools and purges as it
//! does for any part of several bodies.
//!
//! [`Bodies::new`] chooses the blends to store ([`Choice`]), cuts the part by them
//! ([`geometry::bodies`]), and reckons what is purged ([`Purge`]). Nothing here touches the disk.

mod body;
mod choice;
mod error;
mod made;
mod map;
mod options;
mod purge;
mod skin;
mod told;

pub use body::Body;
pub use choice::{Choice, Fit};
pub use error::BodiesError;
pub use made::Bodies;
pub use options::{Depth, Inside, MOST_TOOLS, Options, USUAL_TOOLS};
pub use purge::Purge;
