//! The hand-off: one folder, or one `.zip`, that holds all that the print step needs, and says
//! of every file what it is and how it must be.
//!
//! It holds what [`prepare`](fn@crate::prepare) writes, the part in open formats, a table to key
//! in, the plan itself with the files it names and its signatures, and the records of its prints,
//! byte for byte. The manifest names each file with its size and SHA-256; `SHA256SUMS` says the
//! same to the usual program of that purpose. [`check`] verifies all of it on the other side, and
//! works it out again.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod check;
mod contents;
mod error;
mod hand_off;
mod manifest;
mod pack;
mod unpack;

pub use check::{Report, check};
pub use error::{BundleError, CheckError};
pub use hand_off::{HandedOff, hand_off};
pub use manifest::{Entry, MANIFEST, Manifest, SUMS};
