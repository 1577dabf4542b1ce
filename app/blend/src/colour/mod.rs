//! Colours as the standards name them, and the difference between two.

use serde::{Deserialize, Serialize};

/// CIE 1931 XYZ under D65, scaled so that the perfect diffuser has Y = 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Xyz {
    /// X.
    pub x: f64,
    /// Y, the luminance factor.
    pub y: f64,
    /// Z.
    pub z: f64,
}

/// CIELAB under D65, 2° observer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lab {
    /// Lightness, 0 to 100.
    pub l: f64,
    /// Green to red.
    pub a: f64,
    /// Blue to yellow.
    pub b: f64,
}

/// An sRGB colour in 8-bit code values, written `#rrggbb`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Srgb(pub [u8; 3]);

/// Why a text is no colour.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is no colour; write six hexadecimal digits after a #, such as #1f6f8b")]
pub struct ColourError(pub String);

impl std::fmt::Display for Srgb {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [r, g, b] = self.0;
        write!(f, "#{r:02x}{g:02x}{b:02x}")
    }
}

impl std::str::FromStr for Srgb {
    type Err = ColourError;

    fn from_str(text: &str) -> Result<Self, ColourError> {
        let wrong = || ColourError(text.to_owned());
        let digits = text
            .strip_prefix('#')
            .filter(|d| d.len() == 6)
            .ok_or_else(wrong)?;
        let code = u32::from_str_radix(digits, 16).map_err(|_| wrong())?;
        let [_, r, g, b] = code.to_be_bytes();
        Ok(Self([r, g, b]))
    }
}

impl TryFrom<String> for Srgb {
    type Error = ColourError;

    fn try_from(text: String) -> Result<Self, ColourError> {
        text.parse()
    }
}

impl From<Srgb> for String {
    fn from(colour: Srgb) -> Self {
        colour.to_string()
    }
}

impl Xyz {
    /// From an sRGB colour (IEC 61966-2-1).
    pub fn from_srgb(_colour: Srgb) -> Self {
        todo!()
    }

    /// To CIELAB (CIE 15).
    pub fn to_lab(self) -> Lab {
        todo!()
    }

    /// From CIELAB (CIE 15).
    pub fn from_lab(_lab: Lab) -> Self {
        todo!()
    }

    /// To linear-light sRGB primaries; out of `0..=1` when the display can't show it.
    pub fn to_linear_srgb(self) -> [f64; 3] {
        todo!()
    }

    /// To the nearest 8-bit sRGB code values, clipped where the display can't show it.
    pub fn to_srgb(self) -> Srgb {
        todo!()
    }
}

/// The CIEDE2000 difference ΔE00 of two colours, with kL = kC = kH = 1
/// (Sharma, Wu, Dalal 2005).
pub fn ciede2000(_one: Lab, _other: Lab) -> f64 {
    todo!()
}
