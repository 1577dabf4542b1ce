//! What the nozzle really lays down: the schedule after the melt chamber.

mod flow;

pub use flow::{Feed, delivered};
