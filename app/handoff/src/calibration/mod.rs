//! Everything around measuring a set of spools: the test part, the table of its readings, and
//! the reading of a photograph of it.
//!
//! The loop is [`test_part`] → print → [`Table`] filled in, by hand or by [`photo`] → the fit
//! of [`blend::calibrate`] → a file of measured spools that plans name.

pub mod guide;
pub mod patches;
pub mod photo;
pub mod table;
pub mod test_part;

pub use table::{Header, Reading, Row, Table, TableError};
pub use test_part::{Options, PartError, TestPart};
