//! The window's panels, driven by pointer and keys without a window.

mod bench;
mod drawing;
mod elsewhere;
mod files;
mod finished;
mod folding;
mod hands;
mod job;
mod laying;
mod names;
mod outlines;
mod own_colours;
mod painting;
mod photograph;
mod placing;
mod regions;
mod section;
mod standing;
mod steady;
mod trust;
mod view;
mod view_copy;
mod ways;
mod weaving;
