//! Colours: spools, shares, mixing models and fades, with no idea of shape.
//!
//! One colour path runs through it: spectrum or measured colour → CIE XYZ (2° observer, D65)
//! → CIELAB → sRGB, linear until the last step; every difference is CIEDE2000.

pub mod calibrate;
pub mod colour;
pub mod fade;
pub mod mix;
pub mod reach;
pub mod shares;
pub mod spectrum;
pub mod spool;

pub use calibrate::MeasuredSpools;
pub use colour::{
    ColourError, Lab, Srgb, WHITE, Weighting, Xyz, ciede2000, ciede2000_by, nearest_colour,
};
pub use fade::{Fade, FadeError, Ramp, Spacing, Stop, VisibleArea};
pub use mix::{Behind, KubelkaMunk, LinearLight, MixModel, ThroughWall, model_for};
pub use reach::{Match, closest};
pub use shares::{MAX_COMPONENTS, ShareError, ShareLimits, Shares};
pub use spectrum::Spectrum;
pub use spool::{Spool, SpoolColour, SpoolError, Translucent};
