//! Heights: the layer plan, the contours at a height, and what lies between two heights.
//!
//! [`cut`] does all layers of a part in one sweep; [`slice()`] and [`between`] answer for a
//! single height or pair of heights, by the same rules; [`AreaByHeight`] tells how the
//! skin is spread over the heights.
//!
//! Where shells cross, overlap or face inwards, outlines follow the non-zero winding rule:
//! plastic is where they wind about a point any number of times but 0. [`solid_volume_mm3`]
//! adds up what lies in such outlines.

mod area_by_height;
mod between;
mod contour;
mod cut;
mod facet;
mod outlines;
mod plan;
mod rows;
mod slice;
mod sparse;
#[cfg(test)]
mod tests;
mod volume;
mod winding;

pub use area_by_height::AreaByHeight;
pub use between::between;
pub use contour::Contour;
pub use cut::{CutError, Layer, cut, cut_seen};
pub use facet::Between;
pub use plan::{LayerChange, LayerPlan, LayerPlanError, LayerSpan, MOST_LAYERS};
pub use rows::{RowGrid, Rows, Stretch};
pub use slice::{Section, slice};
pub use sparse::{Shell, sparse_shares};
pub use volume::solid_volume_mm3;
