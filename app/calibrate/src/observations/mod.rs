//! What a person saw of a print, as tables to fill in: of a part for `tintfall trace`, and of a
//! lag test.
//!
//! All are CSV (RFC 4180) with named columns in any order. Lines that begin with `#` are
//! comments, cells may stay empty, and a column `note` takes anything.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod lag;
mod print;
mod table;

pub use lag::{LagReadings, read_lag, with_chamber};
pub use print::{has_readings, read_print, template};
pub use table::SeenError;
