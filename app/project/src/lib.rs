//! The files of a plan on disk: opened together, signed, and written whole or not at all.
//!
//! [`job`] reads a plan with the files that it names and lays it on its part, [`signoff`] tells
//! who looked it over and whether it has changed since, [`record`] is what was seen of a print, and
//! [`write`](mod@write) writes a file beside its place and renames it. [`cautions`] are what to take
//! care of around a hot printer.

pub mod cautions;
pub mod flat;
mod imprint_error;
pub mod job;
pub mod models;
pub mod pictures;
pub mod record;
pub mod signoff;
pub mod text_file;
pub mod write;
