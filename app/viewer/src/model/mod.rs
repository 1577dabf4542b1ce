//! What the window knows, as plain data: no widgets, no threads, no files.

pub mod camera;
pub mod chosen;
pub mod document;
pub mod draft;
pub mod errand;
pub mod finished_form;
pub mod gesture;
pub mod measure;
pub mod mirror;
pub mod names;
pub mod notices;
pub mod outline;
pub mod page;
pub mod photo_form;
pub mod placing;
pub mod profile;
pub mod purge_blocks;
pub mod references;
pub mod ring;
pub mod section;
mod simpler;
pub mod skin;
pub mod strands;
pub mod tool;
pub mod view;
pub mod view_copy;

pub use document::Document;
