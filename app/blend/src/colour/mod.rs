//! Colours as the standards name them, and the difference between two.
//!
//! Everything is under illuminant D65 for the CIE 1931 2° observer. One white stands for
//! D65 throughout, [`WHITE`], so a perfect diffuser is `L* = 100, a* = b* = 0` and `#ffffff`
//! whichever way it is reached.

mod ciede2000;
mod lab;
mod local_metric;
mod name;
mod srgb;
mod xyz;

pub use ciede2000::{Weighting, ciede2000, ciede2000_by, nearest_colour};
pub use lab::Lab;
pub use local_metric::LocalMetric;
pub use srgb::{ColourError, Srgb};
pub use xyz::{WHITE, Xyz};
