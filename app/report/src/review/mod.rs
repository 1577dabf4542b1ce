//! The review page: one HTML file that says all there is to know before a plan is signed.
//!
//! It opens without a network: pictures, the shape and the program that turns it are within.
//! Its own security policy forbids it to load anything (Content Security Policy Level 3, W3C).
//! Without WebGL 2, and on paper, two still pictures stand in for the view.

mod assemble;
mod came_out;
pub(crate) mod html;
mod page;
mod ribbon;
mod shape;
mod tables;

pub use page::{Came, Page, patches};
