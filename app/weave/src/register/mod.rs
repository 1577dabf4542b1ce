//! Where on the plate the part stands: the turn and shift between mesh and toolpath.
//!
//! The toolpath's printed lines are gathered at a few heights (`levels`) and compared with
//! the mesh's contours there. First roughly, for every turn and shift at once, by
//! correlation: plastic must lie just within the contour and none just outside (`coarse`).
//! Then closely: from each contour point the outermost printed line is looked for, and turn,
//! shift and the line's inset are set by least squares (`fine`). What is left over is the
//! residual. A toolpath whose lines do not follow the contours is refused, and so is one that
//! fits as well at another turn where the part looks different.
//!
//! Supports, skirts, towers and other copies don't disturb this: only what should be there is
//! asked for.

mod coarse;
mod copies;
mod error;
mod find;
mod fine;
mod grid;
mod levels;
mod placement;
mod stretch;

pub(crate) use copies::Copies;
pub use error::{MOST_RESIDUAL_MM, RegisterError};
pub use find::{measure, register};
pub use levels::{Level, Levels, gather};
pub use placement::{Placement, Registered, Stand};

#[cfg(test)]
pub(crate) mod tests;
