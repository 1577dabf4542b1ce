//! Everything that is written out: schedules, sheets, renders and woven toolpaths.
//!
//! It is also the one place that touches the disk: [`job`] reads a plan with the files that it
//! names, [`write`](mod@write) writes a file whole or not at all, and [`prepare()`] puts all that the
//! print step needs into one folder.

pub mod bundle;
pub mod calibration;
pub mod cautions;
pub mod compare;
pub mod exchange;
mod filled_in;
pub mod job;
pub mod keyed;
pub mod lag_test;
pub mod outcome;
mod prepare;
pub mod reach_chart;
pub mod render;
pub mod review;
pub mod schedule;
pub mod seen;
pub mod sheet;
pub mod signoff;
pub mod watch;
pub mod weave;
pub mod write;

pub use prepare::{FILES, PrepareError, Prepared, Summary, colours, prepare, scheduled};
