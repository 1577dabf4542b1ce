//! The window's panels, driven by pointer and keys without a window.

mod bench;
mod files;
mod painting;
mod regions;
mod steady;
mod trust;
mod view;
mod weaving;
