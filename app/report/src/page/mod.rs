//! A page to draw on: text, shapes, swatches and pictures, in page units.

mod canvas;
mod ink;
pub(crate) mod style;
pub(crate) mod text;

pub(crate) use canvas::{Align, Page};
pub use canvas::{Finished, Placed, Rect};
pub(crate) use ink::Ink;
