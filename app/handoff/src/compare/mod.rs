//! What is different between two plans, in words and in a picture.

mod leaves;
mod picture;
mod words;

pub use picture::{FULL_DE00, PictureError, picture, scale};
pub use words::{Change, changes, told};
