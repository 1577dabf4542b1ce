//! Everything that is written out: schedules, sheets, renders and woven toolpaths.

pub mod cautions;
pub mod render;
pub mod sheet;
pub mod weave;
pub mod write;
