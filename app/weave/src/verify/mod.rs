//! A woven toolpath read back: is it the same print, and does it lay the plan's colours?
//!
//! This reads the file as a machine would, line by line, and shares no code with the weaving
//! but the G-code reader and the dialect's file: blends are decoded from the text, pass
//! through the melt chamber by volume ([`chamber`]), and are laid where the moves go. Each bit
//! of plastic at the skin is compared with what the plan asks for at the nearest point of the
//! skin ([`printed`]). Where the copies stand is looked at again, by means of its own. Given the toolpath from before the weaving, both are run side by side
//! ([`equivalence`]): every place, all filament, every other line, in the same order; or, where the file's head says
//! that runs changed places, by the laws of that ([`laws`]).

pub mod chamber;
pub mod deposition;
pub mod equivalence;
pub mod first_layer;
pub mod follow;
pub mod laws;
pub mod nozzle;
pub mod picture;
mod place;
pub mod printed;
mod verified;
mod verifying;

pub use place::{MOST_OFF_MM, Standing};
pub use printed::Miss;
pub use verified::{RegionLaid, Verified};
pub use verifying::{Verify, find_stands, stands_or_found};

#[cfg(test)]
mod tests;
