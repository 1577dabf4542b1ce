//! A spool of filament: its colour, density and diameter.

use serde::{Deserialize, Serialize};

use crate::spectrum::{Readings, Spectrum, reconstruct};
use crate::{Lab, Srgb, Xyz};

/// One spool.
///
/// Reading one from a file checks it; see [`Spool::check`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct Spool {
    /// The user's name for it.
    pub name: String,
    /// Its colour when printed alone.
    pub colour: SpoolColour,
    /// Density; 1.24 g/cm³ (PLA, a typical maker's datasheet value) unless given.
    pub density_g_cm3: f64,
    /// Filament diameter; 1.75 mm unless given.
    pub diameter_mm: f64,
    /// Readings over black and white, for a spool that light shines through.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub translucent: Option<Translucent>,
}

/// A flat piece of a translucent spool, read over a black and over a white backing that it
/// touches (wet or glued; a gap of air between them falsifies the reading).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Translucent {
    /// Thickness of the piece.
    pub thickness_mm: f64,
    /// Its colour over black.
    pub over_black: SpoolColour,
    /// Its colour over white.
    pub over_white: SpoolColour,
    /// Reflectance of the black backing; 0.01 unless given.
    #[serde(default = "black_backing")]
    pub black_reflectance: f64,
    /// Reflectance of the white backing; 0.80 unless given, that of contrast-ratio charts
    /// (ISO 6504-3, from memory).
    #[serde(default = "white_backing")]
    pub white_reflectance: f64,
}

/// How a colour is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum SpoolColour {
    /// From an sRGB code.
    Hex(Srgb),
    /// Measured CIELAB (D65, 2°).
    Lab(Lab),
    /// Measured reflectance: pairs of wavelength in nm and reflectance factor.
    Spectrum(Readings),
}

impl SpoolColour {
    /// The colour as XYZ.
    pub fn xyz(&self) -> Xyz {
        match self {
            Self::Hex(code) => Xyz::from_srgb(*code),
            Self::Lab(lab) => Xyz::from_lab(*lab),
            Self::Spectrum(readings) => readings.to_spectrum().to_xyz(),
        }
    }

    /// The reflectance: measured, or the smoothest one of that colour.
    pub fn spectrum(&self) -> Spectrum {
        match self {
            Self::Spectrum(readings) => readings.to_spectrum(),
            Self::Hex(_) | Self::Lab(_) => reconstruct(self.xyz()).spectrum,
        }
    }

    /// The same kind of colour, moved to another place: a spectrum changes as the smoothest
    /// reflectances of the two colours differ.
    pub(crate) fn moved_to(&self, lab: Lab) -> Self {
        let Self::Spectrum(readings) = self else {
            return Self::Lab(lab);
        };
        let was = readings.to_spectrum();
        let [from, to] = [was.to_xyz(), lab.to_xyz()].map(|c| reconstruct(c).spectrum);
        let mut moved = was;
        for (band, (from, to)) in moved.0.iter_mut().zip(from.0.iter().zip(to.0)) {
            *band = (*band * to / from).clamp(0.0, 1.0);
        }
        Readings::on_grid(&moved).map_or(Self::Lab(lab), Self::Spectrum)
    }

    /// Whether a surface can have this colour, roughly: L* from 0 to 100, a* and b* within
    /// 128 of 0.
    pub fn is_believable(&self) -> bool {
        self.unbelievable().is_none()
    }

    /// The measured CIELAB, if it is none that a surface can have.
    fn unbelievable(&self) -> Option<Lab> {
        match self {
            Self::Lab(lab) if !believable(*lab) => Some(*lab),
            _ => None,
        }
    }
}

/// What is wrong with a spool.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SpoolError {
    /// The name is blank.
    #[error("a spool has no name; give it one that you recognise")]
    Nameless,
    /// The density is impossible.
    #[error(
        "spool '{name}' has a density of {value} g/cm³; it must be a number above 0, \
         such as 1.24 for PLA"
    )]
    Density {
        /// The spool.
        name: String,
        /// Its density.
        value: f64,
    },
    /// The diameter is impossible.
    #[error(
        "spool '{name}' has a diameter of {value} mm; it must be a number above 0, \
         such as 1.75"
    )]
    Diameter {
        /// The spool.
        name: String,
        /// Its diameter.
        value: f64,
    },
    /// The measured colour is impossible.
    #[error(
        "spool '{name}' has a measured colour of L* {l}, a* {a}, b* {b}; L* runs from 0 to 100 \
         and a*, b* from about -128 to 128",
        l = .lab.l, a = .lab.a, b = .lab.b
    )]
    Colour {
        /// The spool.
        name: String,
        /// Its colour.
        lab: Lab,
    },
    /// The readings over black and white are impossible.
    #[error("spool '{name}' has impossible readings over black and white: {wrong}")]
    Translucent {
        /// The spool.
        name: String,
        /// What can't be, and what to do.
        wrong: &'static str,
    },
}

/// A spool as a file has it, before it is checked.
#[derive(Deserialize)]
#[serde(rename = "Spool", deny_unknown_fields)]
struct Written {
    name: String,
    colour: SpoolColour,
    #[serde(default = "pla_density")]
    density_g_cm3: f64,
    #[serde(default = "common_diameter")]
    diameter_mm: f64,
    #[serde(default)]
    translucent: Option<Translucent>,
}

fn black_backing() -> f64 {
    0.01
}

fn white_backing() -> f64 {
    0.80
}

/// Density of PLA, g/cm³: a typical maker's datasheet value.
fn pla_density() -> f64 {
    1.24
}

/// The usual filament diameter, mm: common practice, no source.
fn common_diameter() -> f64 {
    1.75
}

impl TryFrom<Written> for Spool {
    type Error = SpoolError;

    fn try_from(written: Written) -> Result<Self, SpoolError> {
        let spool = Self {
            name: written.name,
            colour: written.colour,
            density_g_cm3: written.density_g_cm3,
            diameter_mm: written.diameter_mm,
            translucent: written.translucent,
        };
        spool.check()?;
        Ok(spool)
    }
}

impl Spool {
    /// A spool of the usual density and diameter.
    pub fn new(name: impl Into<String>, colour: SpoolColour) -> Self {
        Self {
            name: name.into(),
            colour,
            density_g_cm3: pla_density(),
            diameter_mm: common_diameter(),
            translucent: None,
        }
    }

    /// Looks for values that no spool can have.
    ///
    /// # Errors
    /// The first thing wrong, in words.
    pub fn check(&self) -> Result<(), SpoolError> {
        let name = || self.name.clone();
        if self.name.trim().is_empty() {
            return Err(SpoolError::Nameless);
        }
        if !(self.density_g_cm3.is_finite() && self.density_g_cm3 > 0.0) {
            return Err(SpoolError::Density {
                name: name(),
                value: self.density_g_cm3,
            });
        }
        if !(self.diameter_mm.is_finite() && self.diameter_mm > 0.0) {
            return Err(SpoolError::Diameter {
                name: name(),
                value: self.diameter_mm,
            });
        }
        let backed = self.translucent.iter();
        let colours = backed.flat_map(|t| [&t.over_black, &t.over_white]);
        for colour in std::iter::once(&self.colour).chain(colours) {
            if let Some(lab) = colour.unbelievable() {
                return Err(SpoolError::Colour { name: name(), lab });
            }
        }
        match self.translucent.as_ref().and_then(Translucent::wrong) {
            Some(wrong) => Err(SpoolError::Translucent {
                name: name(),
                wrong,
            }),
            None => Ok(()),
        }
    }

    /// The spool's own colour.
    pub fn xyz(&self) -> Xyz {
        self.colour.xyz()
    }

    /// The spool's own reflectance: measured, or the smoothest one of its colour.
    pub fn spectrum(&self) -> Spectrum {
        self.colour.spectrum()
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

impl Translucent {
    fn wrong(&self) -> Option<&'static str> {
        let (black, white) = (self.black_reflectance, self.white_reflectance);
        if !(self.thickness_mm.is_finite() && self.thickness_mm > 0.0) {
            Some("the thickness must be a number of mm above 0")
        } else if !(black >= 0.0 && white <= 1.0 && white > black) {
            Some("the backings' reflectances must be from 0 to 1, and white above black")
        } else if self.over_white.xyz().y < self.over_black.xyz().y {
            Some("it is darker over white than over black; are the two swapped?")
        } else {
            None
        }
    }
}

fn believable(lab: Lab) -> bool {
    (0.0..=100.0).contains(&lab.l) && lab.a.abs() <= 128.0 && lab.b.abs() <= 128.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_by_hand() {
        let spool: Spool =
            ron::from_str(r##"(name: "Harbour blue", colour: Hex("#1f6f8b"))"##).expect("a spool");
        assert_eq!(
            spool,
            Spool::new("Harbour blue", SpoolColour::Hex(Srgb([0x1f, 0x6f, 0x8b])))
        );
        let text = ron::to_string(&spool).expect("text");
        assert_eq!(ron::from_str::<Spool>(&text).expect("a spool"), spool);
    }

    #[test]
    fn wrong_values_say_where_and_what_to_do() {
        for (text, words) in [
            (
                r##"(name: "x", colour: Hex("#1f6f8b"), density_g_cm3: 0.0)"##,
                "density",
            ),
            (
                r##"(name: "x", colour: Hex("#1f6f8b"), diameter_mm: -1.75)"##,
                "diameter",
            ),
            (
                r##"(name: "x", colour: Hex("#1f6f8b"), diameter_mm: inf)"##,
                "diameter",
            ),
            (r##"(name: " ", colour: Hex("#1f6f8b"))"##, "name"),
            (
                r##"(name: "x", colour: Hex("blue"))"##,
                "six hexadecimal digits",
            ),
            (
                r##"(name: "x", colour: Lab((l: 130.0, a: 0.0, b: 0.0)))"##,
                "0 to 100",
            ),
            (
                r##"(name: "x", colour: Hex("#1f6f8b"), translucent: Some((thickness_mm: 0.8,
                    over_black: Hex("#445566"), over_white: Hex("#223344"))))"##,
                "swapped",
            ),
            (
                r##"(name: "x", colour: Spectrum([(400, 45.0), (700, 0.2)]))"##,
                "0.45",
            ),
            (r##"(name: "x", color: Hex("#1f6f8b"))"##, "color"),
        ] {
            let error = ron::from_str::<Spool>(text).expect_err("wrong");
            assert!(error.to_string().contains(words), "{error}");
            assert!(
                error.span.start.line >= 1 && error.span.start.col > 1,
                "{error}"
            );
        }
    }

    /// A metre of 1.75 mm round filament is 2405.28 mm³ (πd²/4), 2.98 g of PLA.
    #[test]
    fn a_metre_of_filament() {
        let spool = Spool::new("x", SpoolColour::Hex(Srgb([0; 3])));
        assert!((spool.length_mm(2405.281875) - 1000.0).abs() < 1e-4);
        assert!((spool.mass_g(2405.281875) - 2.98255).abs() < 1e-5);
    }
}
