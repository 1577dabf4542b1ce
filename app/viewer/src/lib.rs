//! The window: paint bands and regions on the model and see the colour fall.
//!
//! [`state`] is all that the window knows, [`panels`] shows it, [`actions`] is what can be done
//! by key or button, [`paint`] turns the pointer's path into strokes, [`jobs`] is work in the
//! background, [`files`] what is kept on disk. None of these knows Bevy; [`scene`] alone does,
//! and draws. What a plan means is the business of the crates beneath: nothing of it is worked
//! out here a second time.

pub mod actions;
pub mod files;
pub mod jobs;
pub mod paint;
pub mod panels;
pub mod scene;
pub mod state;
pub mod theme;
