//! sRGB (IEC 61966-2-1:1999).

use serde::{Deserialize, Serialize};

use super::{Xyz, xyz::times};

/// An sRGB colour in 8-bit code values, written `#rrggbb`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Srgb(pub [u8; 3]);

/// Why a text is no colour.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is not a colour; write six hexadecimal digits after a #, such as #1f6f8b")]
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
            .filter(|d| d.len() == 6 && d.bytes().all(|b| b.is_ascii_hexdigit()))
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

/// Linear sRGB to XYZ, as the standard prints it.
const TO_XYZ: [[f64; 3]; 3] = [
    [0.4124, 0.3576, 0.1805],
    [0.2126, 0.7152, 0.0722],
    [0.0193, 0.1192, 0.9505],
];

/// XYZ to linear sRGB: the inverse of [`TO_XYZ`], worked out in full so that nothing is lost
/// on the way there and back. Rounded to seven places it is the matrix of the standard's
/// amendment 1 (2003).
const FROM_XYZ: [[f64; 3]; 3] = inverse(&TO_XYZ);

const fn inverse(m: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let mut adjugate = [[0.0; 3]; 3];
    let mut i = 0;
    while i < 3 {
        let mut j = 0;
        while j < 3 {
            let (r, s) = ((j + 1) % 3, (j + 2) % 3);
            let (p, q) = ((i + 1) % 3, (i + 2) % 3);
            adjugate[i][j] = m[r][p] * m[s][q] - m[r][q] * m[s][p];
            j += 1;
        }
        i += 1;
    }
    let determinant =
        m[0][0] * adjugate[0][0] + m[0][1] * adjugate[1][0] + m[0][2] * adjugate[2][0];
    let mut i = 0;
    while i < 9 {
        adjugate[i / 3][i % 3] /= determinant;
        i += 1;
    }
    adjugate
}

impl Srgb {
    /// The standard's transfer function from a code value in `0..=1` to linear light.
    pub fn linear(code: f64) -> f64 {
        if code <= 0.04045 {
            code / 12.92
        } else {
            ((code + 0.055) / 1.055).powf(2.4)
        }
    }

    /// The standard's transfer function from linear light in `0..=1` to a code value.
    pub fn code(linear: f64) -> f64 {
        if linear <= 0.0031308 {
            linear * 12.92
        } else {
            1.055 * linear.powf(1.0 / 2.4) - 0.055
        }
    }

    /// The same colour as XYZ.
    pub fn to_xyz(self) -> Xyz {
        Xyz::from_srgb(self)
    }

    /// Linear-light values of the three primaries, each in `0..=1`.
    pub fn to_linear(self) -> [f64; 3] {
        self.0.map(|code| Self::linear(f64::from(code) / 255.0))
    }
}

impl Xyz {
    /// From an sRGB colour (IEC 61966-2-1).
    pub fn from_srgb(colour: Srgb) -> Self {
        Self::from_linear_srgb(colour.to_linear())
    }

    /// From linear-light values of the sRGB primaries.
    pub fn from_linear_srgb(linear: [f64; 3]) -> Self {
        Self::from_array(times(&TO_XYZ, linear))
    }

    /// To linear-light sRGB primaries; out of `0..=1` when the display can't show it.
    pub fn to_linear_srgb(self) -> [f64; 3] {
        times(&FROM_XYZ, self.to_array())
    }

    /// To the nearest 8-bit sRGB code values, clipped where the display can't show it.
    pub fn to_srgb(self) -> Srgb {
        Srgb(
            self.to_linear_srgb()
                .map(|v| (Srgb::code(v.clamp(0.0, 1.0)) * 255.0).round() as u8),
        )
    }

    /// Whether an sRGB display can show it without clipping.
    #[cfg(test)]
    pub(crate) fn fits_srgb(self) -> bool {
        // Half a code value in the dark, where the steps are finest.
        const SLACK: f64 = 0.5 / 255.0 / 12.92;
        self.to_linear_srgb()
            .iter()
            .all(|v| (-SLACK..=1.0 + SLACK).contains(v))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn text_both_ways() {
        let colour: Srgb = "#1F6f8b".parse().expect("a colour");
        assert_eq!(colour, Srgb([0x1f, 0x6f, 0x8b]));
        assert_eq!(colour.to_string(), "#1f6f8b");
        for wrong in [
            "1f6f8b", "#1f6f8", "#1f6f8bb", "#+f6f8b", "#1f6f8g", "", "#ÿÿÿ",
        ] {
            let error = wrong.parse::<Srgb>().expect_err("no colour");
            assert!(error.to_string().contains("six hexadecimal digits"));
        }
    }

    /// The matrix of IEC 61966-2-1 amendment 1, seven places.
    #[test]
    fn inverse_matrix_is_the_amendments() {
        let printed = [
            [3.2406255, -1.5372080, -0.4986286],
            [-0.9689307, 1.8757561, 0.0415175],
            [0.0557101, -0.2040211, 1.0569959],
        ];
        for (ours, theirs) in FROM_XYZ.iter().flatten().zip(printed.iter().flatten()) {
            assert!((ours - theirs).abs() < 5.1e-8, "{ours} {theirs}");
        }
    }

    /// The two halves of the transfer function meet at the standard's thresholds.
    #[test]
    fn transfer_function_is_joined() {
        assert!((Srgb::linear(0.04045) - Srgb::linear(0.04045 + 1e-9)).abs() < 1e-7);
        assert!((Srgb::code(0.0031308) - Srgb::code(0.0031308 + 1e-9)).abs() < 1e-6);
    }

    #[test]
    fn white_is_the_white() {
        let white = Xyz::from_srgb(Srgb([255; 3]));
        for (ours, theirs) in white.to_array().iter().zip(super::super::WHITE.to_array()) {
            assert!((ours - theirs).abs() < 1e-15);
        }
        assert!(white.fits_srgb());
    }

    #[test]
    fn what_the_display_cannot_show_is_clipped() {
        let loud = crate::Lab {
            l: 60.0,
            a: 120.0,
            b: 0.0,
        }
        .to_xyz();
        assert!(!loud.fits_srgb());
        assert_eq!(loud.to_srgb().0[0], 255);
        let nothing = Xyz {
            x: f64::NAN,
            y: f64::NAN,
            z: f64::NAN,
        };
        assert_eq!(nothing.to_srgb(), Srgb([0; 3]));
    }

    proptest! {
        #[test]
        fn there_and_back(code in any::<[u8; 3]>()) {
            prop_assert_eq!(Xyz::from_srgb(Srgb(code)).to_srgb(), Srgb(code));
            prop_assert_eq!(Xyz::from_srgb(Srgb(code)).to_lab().to_xyz().to_srgb(), Srgb(code));
            prop_assert!(Xyz::from_srgb(Srgb(code)).fits_srgb());
        }
    }
}
