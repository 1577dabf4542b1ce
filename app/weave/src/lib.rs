//! The plan put into the user's own sliced toolpath.
//!
//! The toolpath is read three times, so that memory stays the same whatever its size: a little
//! of it to find where the part stands ([`register`]), all of it to learn which blend each
//! stretch of plastic asks for, and all of it to write it again with blend commands put in.
//! Lines that get no command leave byte for byte as they came, and a move that a command falls into
//! is cut in two that lay the same plastic along the same way. No temperature is set. Where regions
//! share layers, the toolpath is laid in another order first ([`arrange`]).

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

pub mod arrange;
pub mod dialect;
pub mod register;
pub mod standing_blocks;
pub mod verify;

mod asking;
mod behind;
mod changes;
mod classify;
pub mod compare;
mod emit;
mod error;
pub mod figures;
mod header;
mod overrides;
mod plastic;
mod short_runs;
mod source;
mod survey;
mod weaving;

pub use emit::Emitted;
pub use error::WeaveError;
pub use header::head_tells_of_weaving;
pub use plastic::plastic_by_layer;
pub use source::Source;
pub use weaving::{How, Weave, Woven};

#[cfg(test)]
mod damaged;
#[cfg(test)]
mod tests;
