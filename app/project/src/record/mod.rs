//! The record of a print: what photographs showed of the finished part, beside what was requested
//! and what should have come out.
//!
//! It is a folder. [`Record`] is its file `record.ron`, which names every other file there with
//! its SHA-256, and the state of the plan that was read ([`Seal`](crate::signoff::Seal)).
//! [`Opened`] is such a folder read and checked.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod document;
mod names;
mod opened;

pub use document::{FileHash, Photograph, Record, Reference, Row, Summary, Taken};
pub use names::{MOST_PHOTOGRAPHS, PictureOf, RECORD, file_names, found, views, what_of};
pub use opened::{FileFault, Opened, Png, RecordError};
