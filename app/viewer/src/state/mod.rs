//! The state of the window: plain data and what may happen to it, without a window.

pub mod camera;
pub mod document;
pub mod follow;
pub mod hand;
pub mod notices;
pub mod profile;
pub mod session;
pub mod skin;
pub mod strands;
pub mod toolpath;
pub mod view;

pub use document::Document;
pub use session::Session;
