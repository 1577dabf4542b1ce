//! A camera as an instrument: what it wrote in linear light, the card beside the sample, where
//! that lies in the picture, and how the light falls on it.

// Photographs come from strangers: nothing in one may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

pub mod card;
mod colour;
pub mod find;
pub mod homography;
pub mod laid;
mod lane;
pub mod light;
pub mod mark;
pub mod overlay;
pub mod patch;
mod photo;
pub mod reference;
pub mod scene;
pub mod sheet;
mod tone;
pub mod view;

pub use photo::{Ends, Photo, PhotoError};
