//! What sharing layers costs, and how little it can cost.
//!
//! [`lay_out`] turns a schedule into an [`Extrusion`]: everything that the nozzle lays, in
//! order, with what is flushed inside the part and what is wasted. [`Waste`] counts it up,
//! [`suggestions`] says what would save some. [`fewest_pieces`] and [`stored`] cut down the
//! number of commands and of blends.

mod extrusion;
mod flush;
mod heights;
mod layout;
mod lead;
mod merge;
mod segment;
mod stored;
mod suggest;
mod waste;
mod yielding;

pub use extrusion::{Extrusion, Purpose, Stretch};
pub use flush::FlushTable;
pub(crate) use flush::Settling;
pub use heights::Heights;
pub(crate) use heights::{main_skin_mm3, region_skin_mm3};
pub use layout::{lay_out, lay_out_as};
pub(crate) use lead::{ENOUGH_MM3, Lead, Sent, What};
pub use segment::{Item, Piece, fewest_pieces};
pub use stored::{Stored, stored};
pub use suggest::{Suggestion, suggestions};
pub use waste::Waste;
