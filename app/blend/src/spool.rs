//! A spool of filament: its colour, density and diameter.

use serde::{Deserialize, Serialize};

use crate::{Lab, Srgb, Xyz};

/// One spool.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spool {
    /// The user's name for it.
    pub name: String,
    /// Its colour when printed alone.
    pub colour: SpoolColour,
    /// Density; 1.24 g/cm³ (PLA, a typical maker's datasheet value) unless given.
    #[serde(default = "pla_density")]
    pub density_g_cm3: f64,
    /// Filament diameter; 1.75 mm unless given.
    #[serde(default = "common_diameter")]
    pub diameter_mm: f64,
}

/// How the colour is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum SpoolColour {
    /// From an sRGB code.
    Hex(Srgb),
    /// Measured CIELAB (D65, 2°).
    Lab(Lab),
}

/// Density of PLA, g/cm³: a typical maker's datasheet value.
fn pla_density() -> f64 {
    1.24
}

/// The usual filament diameter, mm: common practice, no source.
fn common_diameter() -> f64 {
    1.75
}

impl Spool {
    /// The spool's own colour.
    pub fn xyz(&self) -> Xyz {
        match &self.colour {
            SpoolColour::Hex(code) => Xyz::from_srgb(*code),
            SpoolColour::Lab(lab) => Xyz::from_lab(*lab),
        }
    }

    /// Filament length that holds a volume, mm, from the round cross-section πd²/4.
    pub fn length_mm(&self, volume_mm3: f64) -> f64 {
        volume_mm3 / (std::f64::consts::PI * self.diameter_mm * self.diameter_mm / 4.0)
    }

    /// Mass of a volume, g.
    pub fn mass_g(&self, volume_mm3: f64) -> f64 {
        volume_mm3 * self.density_g_cm3 / 1000.0
    }
}
