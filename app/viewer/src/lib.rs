//! The window: paint bands and regions on the model and see the colour fall.
//!
//! Each of these modules knows only those before it:
//! [`model`] is what the window knows, as plain data; [`files`] what it keeps on disk;
//! [`commands`] what a person can do; [`jobs`] the work in the background; [`session`] holds all
//! of it and applies commands; [`theme`] and [`panels`] show it and send commands; [`frame`] is
//! one turn of that. [`scene`] alone knows Bevy: without the feature `scene` all else is built
//! and tested in a tenth of the time. What a plan means is the business of the crates beneath:
//! nothing of it is worked out here a second time.

pub mod commands;
pub mod files;
pub mod frame;
pub mod jobs;
pub mod model;
pub mod panels;
#[cfg(feature = "scene")]
pub mod scene;
pub mod session;
pub mod theme;
