//! The schedule as files: RON to be read back, CSV for spreadsheets and scripts.
//!
//! Both say the same; docs/schedule-format.md describes them field by field. The commands
//! stand in a table of their own.

mod commands;
mod csv;
mod fields;
mod ron;

pub use self::commands::write_commands;
pub use self::csv::write_csv;
pub(crate) use self::fields::comment;
pub use self::fields::number;
pub use self::ron::write_ron;
