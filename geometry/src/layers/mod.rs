//! Heights: the layer plan, the contours at a height, and what lies between two heights.
//!
//! [`cut`] does all layers of a part in one sweep; [`slice()`] and [`between`] answer for a
//! single height or pair of heights, by the same rules; [`AreaByHeight`] tells how the
//! skin is spread over the heights.

mod area_by_height;
mod between;
mod cut;
mod facet;
mod plan;
mod rows;
mod slice;
mod sparse;
#[cfg(test)]
mod tests;

pub use area_by_height::AreaByHeight;
pub use between::between;
pub use cut::{CutError, Layer, cut};
pub use facet::Between;
pub use plan::{LayerChange, LayerPlan, LayerPlanError, LayerSpan, MOST_LAYERS};
pub use rows::{RowGrid, Rows, Stretch};
pub use slice::{Contour, Section, slice};
pub use sparse::{Shell, sparse_shares};
