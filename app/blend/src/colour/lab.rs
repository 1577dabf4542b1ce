//! CIELAB (CIE 15:2018, 8.2.1).

use serde::{Deserialize, Serialize};

use super::{WHITE, Xyz};

/// CIELAB under D65, 2° observer.
///
/// ```
/// use blend::{Lab, Xyz};
/// let teal = Xyz::from_srgb("#1f6f8b".parse().expect("a colour")).to_lab();
/// assert!((teal.l - 43.543).abs() < 0.001);
/// assert!(teal.chroma() > 20.0);
/// ```
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

/// Where the cube root gives way to a straight line: δ = 6/29.
const DELTA: f64 = 6.0 / 29.0;

impl Lab {
    /// Chroma C*ab: how far from grey.
    pub fn chroma(self) -> f64 {
        (self.a * self.a + self.b * self.b).sqrt()
    }

    /// Hue angle h_ab in degrees, `0..360`; 0 for a grey.
    pub(crate) fn hue_deg(self) -> f64 {
        angle_deg(self.a, self.b)
    }

    /// The same colour as XYZ.
    pub fn to_xyz(self) -> Xyz {
        Xyz::from_lab(self)
    }

    /// Whether all three values are finite.
    pub fn is_finite(self) -> bool {
        self.l.is_finite() && self.a.is_finite() && self.b.is_finite()
    }
}

/// The angle from the first axis to a direction, degrees, `0..360`.
pub(super) fn angle_deg(a: f64, b: f64) -> f64 {
    b.atan2(a).to_degrees().rem_euclid(360.0)
}

impl Xyz {
    /// To CIELAB (CIE 15).
    pub fn to_lab(self) -> Lab {
        self.to_lab_by(WHITE)
    }

    /// To CIELAB by another white than D65's: for colours seen in another light.
    pub(crate) fn to_lab_by(self, white: Xyz) -> Lab {
        let [x, y, z] = [self.x / white.x, self.y / white.y, self.z / white.z].map(root);
        Lab {
            l: 116.0 * y - 16.0,
            a: 500.0 * (x - y),
            b: 200.0 * (y - z),
        }
    }

    /// From CIELAB (CIE 15).
    pub fn from_lab(lab: Lab) -> Self {
        let y = (lab.l + 16.0) / 116.0;
        Self {
            x: WHITE.x * cube(y + lab.a / 500.0),
            y: WHITE.y * cube(y),
            z: WHITE.z * cube(y - lab.b / 200.0),
        }
    }
}

fn root(ratio: f64) -> f64 {
    if ratio > DELTA.powi(3) {
        ratio.cbrt()
    } else {
        ratio / (3.0 * DELTA * DELTA) + 4.0 / 29.0
    }
}

fn cube(root: f64) -> f64 {
    if root > DELTA {
        root.powi(3)
    } else {
        3.0 * DELTA * DELTA * (root - 4.0 / 29.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn white_is_neutral_and_black_is_zero() {
        assert_eq!(
            WHITE.to_lab(),
            Lab {
                l: 100.0,
                a: 0.0,
                b: 0.0
            }
        );
        assert!(Xyz::BLACK.to_lab().l.abs() < 1e-12);
    }

    /// CIE 15: L* of a luminance factor of 0.184187 is 50 (from the formula's inverse,
    /// ((50 + 16) / 116)³).
    #[test]
    fn middle_grey() {
        let y = (66.0f64 / 116.0).powi(3);
        let grey = Xyz {
            x: WHITE.x * y,
            y,
            z: WHITE.z * y,
        };
        assert!((grey.to_lab().l - 50.0).abs() < 1e-12);
        assert!(grey.to_lab().chroma() < 1e-12);
    }

    proptest! {
        #[test]
        fn there_and_back(l in 0.0..100.0, a in -128.0..128.0, b in -128.0..128.0) {
            let back = Lab { l, a, b }.to_xyz().to_lab();
            prop_assert!((back.l - l).abs() < 1e-9);
            prop_assert!((back.a - a).abs() < 1e-9);
            prop_assert!((back.b - b).abs() < 1e-9);
        }
    }
}
