//! The schedule as a short table to be keyed in at a printer's own screen.
//!
//! Some firmwares take no more than fades between two heights, and a few stored blends. The
//! table is the best that was found within those limits, with how far it is off: fades by
//! dynamic programming over the heights at which one may begin (R. Bellman, "On the
//! approximation of curves by line segments using dynamic programming", Communications of the
//! ACM 4(6), 1961, from memory), stored blends by [`plan::economy::stored`].

mod fades;
mod fit;
mod layer;
mod table;
mod text;

pub use table::{FadeRow, Off, Outside, PanelTable, Screen, Swap};
pub use text::table;
