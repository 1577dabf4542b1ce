//! The colours that a mesh file or a picture brings: read, counted, and turned into a plan's regions.
//!
//! [`Model`] is a mesh with its textures decoded; it gives the colour at any point of its skin.
//! [`Sampled`] has the colours of all of its skin, piece by piece, with their areas.
//! [`Sampled::labelled`] tells for each piece which of a list of colours is nearest, smoothed to
//! what can be printed: that is what a plan's mask of a model's colour is.
//! [`choose`] finds which blends of a plan's spools come nearest to all of them, for how many
//! blends, and [`Choice::regions`] makes regions of that.
//!
//! [`Flat`] has the colours of a flat picture, and [`choose_flat`] finds blends for these.

// Models come from strangers: nothing in one may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod choice;
mod cost;
mod counted;
mod distinct;
mod flat;
mod flat_choice;
mod labels;
mod model;
mod read;
mod regions;
mod sampled;
mod texture;

pub use choice::{Choice, ChoiceError, Row, choose};
pub use counted::{Counted, Found};
pub use flat::Flat;
pub use flat_choice::{FlatChoice, FlatRow, choose_flat};
pub use labels::weighting;
pub use model::Model;
pub use read::{ColoursError, read_model};
pub use regions::ModelFile;
pub use sampled::Sampled;
