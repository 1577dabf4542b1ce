//! What is different between two plans, in words.

mod leaves;
mod words;

pub use words::{Change, changes, told};
