//! One page that shows what is asked for and what will come out: the part from several sides,
//! its colours by height, spools, regions, totals, waste, and where the numbers come from.
//!
//! [`Facts`] is plain data and knows nothing of pictures; [`Sheet::run`] lays it out,
//! renders the views at just the size they get, and draws the page. Lengths of the layout
//! are in page units; [`Sheet::scale`] pixels make one of them, and a page of the least
//! height has the shape of landscape A4 (ISO 216).

mod error;
mod facts;
mod footer;
mod gather;
mod header;
mod heights;
mod layout;
mod legend;
mod print_quality;
mod views;

pub use crate::page::{Finished, Placed, Rect};
pub use error::SheetError;
pub use facts::{ColourShare, Column, Fact, Facts, Heights, Mark, RegionFact, Slice, SpoolFact};
pub use layout::{LEAST_HEIGHT, Sheet, WIDTH};
pub use views::{Look, Shown};
