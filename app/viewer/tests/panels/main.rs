//! The window's panels, driven by pointer and keys without a window.

mod bench;
mod drawing;
mod elsewhere;
mod files;
mod hands;
mod job;
mod laying;
mod names;
mod outlines;
mod own_colours;
mod painting;
mod placing;
mod regions;
mod steady;
mod trust;
mod view;
mod ways;
mod weaving;
