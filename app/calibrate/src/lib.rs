//! Measuring what is real: a set of spools, and a hotend's lag; and the tables of what was seen.
//!
//! The loop for spools is [`test_part`] → print → [`Table`] filled in, by hand or by [`photo`] → [`fit`](mod@fit)
//! → a file of measured spools that plans name. That for the hotend is [`lag_test`] → print →
//! [`observations`] → a machine file.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod camera;
mod csv_input;
pub mod finished;
pub mod fit;
pub mod guide;
pub mod lag_test;
pub mod observations;
pub mod on_card;
pub mod patches;
pub mod photo;
pub mod photo_file;
pub mod print_record;
pub mod table;
mod test_files;
pub mod test_part;

use std::path::Path;

use blend::calibrate::Provenance;
use plan::document::sha256_hex;

pub use fit::{Fit, fit, read_spools};
pub use table::{Header, Reading, Row, Table, TableError};
pub use test_files::{Swatch, TestFilesError};
pub use test_part::{Options, PartError, TestPart};

/// The provenance of a fit: the table's file and hash; what its head says is added where it is
/// [read](Table::measurements).
pub fn provenance(file: &Path, text: &str) -> Provenance {
    let name = file.file_name().unwrap_or_default();
    Provenance {
        file: name.to_string_lossy().into_owned(),
        sha256: sha256_hex(text.as_bytes()),
        ..Provenance::default()
    }
}
