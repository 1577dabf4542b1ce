//! The page of the tools to store for a part in bodies.

mod page;
mod picture;

pub use page::{Lines, ToolsPage};
pub use picture::exploded;
