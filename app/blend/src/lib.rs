//! Colours: spools, shares, mixing models and fades, with no idea of shape.
//!
//! One colour path runs through it: spectrum or measured colour → CIE XYZ (2° observer, D65)
//! → CIELAB → sRGB, linear until the last step; every difference is CIEDE2000.

pub mod colour;
pub mod fade;
pub mod mix;
pub mod shares;
pub mod spool;

pub use colour::{ColourError, Lab, Srgb, WHITE, Xyz, ciede2000};
pub use fade::{Fade, FadeError, Ramp, Spacing, Stop, VisibleArea};
pub use mix::{LinearLight, MixModel};
pub use shares::{MAX_COMPONENTS, ShareError, ShareLimits, Shares};
pub use spool::{Spool, SpoolColour, SpoolError};
