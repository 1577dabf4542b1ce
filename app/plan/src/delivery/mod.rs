//! What the nozzle really lays down: the schedule after the melt chamber.
//!
//! [`delivered`] is the chamber itself: feeds in, mean blends out, between any edges, such as
//! the moves of a toolpath. [`Delivery`] is a whole part: for every dose of its schedule the
//! blend that comes out, its colour, and how far that is from the one asked for.

mod assess;
mod cells;
mod commands;
mod flow;

use blend::{Lab, Shares, Srgb};
use serde::{Deserialize, Serialize};

pub use assess::assess;
pub(crate) use assess::{cell_de00, mean_de00, of_cells};
pub(crate) use cells::{Cell, cells};
pub(crate) use commands::{Change, changes};
pub use commands::{Command, Commands};
pub use flow::{Feed, delivered};
pub(crate) use flow::{Mix, mix};

/// What a part's doses come out as.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Delivery {
    /// Mean ΔE00 between printed and requested colours, over the visible area.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the visible area stays within.
    #[serde(alias = "most_de00")]
    pub p95_de00: f64,
    /// Greatest ΔE00 anywhere on the visible area.
    pub worst_de00: f64,
    /// Layers from the bed upwards.
    pub layers: Vec<DeliveredLayer>,
}

/// One layer of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeliveredLayer {
    /// Its doses, as in the schedule.
    pub doses: Vec<DeliveredDose>,
}

/// One dose of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeliveredDose {
    /// The mean blend that the drives are told to feed while it is laid; a good part of that
    /// comes out later.
    pub fed: Shares,
    /// The mean blend that comes out.
    pub shares: Shares,
    /// Its colour.
    pub lab: Lab,
    /// Its colour as shown.
    pub srgb: Srgb,
    /// ΔE00 between that and the colour asked for.
    pub de00: f64,
    /// The greatest ΔE00 along the dose: a change that comes late is worst at its beginning.
    pub worst_de00: f64,
}
