//! The schedule as files: RON to be read back, CSV for spreadsheets and scripts.
//!
//! Both say the same; docs/schedule-format.md describes them field by field. A new kind of
//! file is one module here and one line in [`prepare`](crate::prepare()).

mod csv;
mod ron;

pub use self::csv::write_csv;
pub(crate) use self::csv::{comment, number};
pub use self::ron::write_ron;
