//! Painting: from the pointer's path over the stage to strokes on the part's skin.

pub mod gesture;
pub mod mirror;

pub use gesture::Gesture;
pub use mirror::Mirror;
