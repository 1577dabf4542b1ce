//! CIE XYZ.

use serde::{Deserialize, Serialize};

/// CIE 1931 XYZ under D65, scaled so that the perfect diffuser has Y = 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Xyz {
    /// X.
    pub x: f64,
    /// Y, the luminance factor.
    pub y: f64,
    /// Z.
    pub z: f64,
}

/// D65 as IEC 61966-2-1 states it: the sum of its three primaries at full drive.
/// CIE 15 gives 0.95047, 1, 1.08883 for the same light, less than 0.03 ΔE00 away.
pub const WHITE: Xyz = Xyz {
    x: 0.9505,
    y: 1.0,
    z: 1.0890,
};

impl Xyz {
    /// No light at all.
    pub const BLACK: Xyz = Xyz {
        x: 0.0,
        y: 0.0,
        z: 0.0,
    };

    /// The three values in the order X, Y, Z.
    pub fn to_array(self) -> [f64; 3] {
        [self.x, self.y, self.z]
    }

    /// From values in the order X, Y, Z.
    pub fn from_array([x, y, z]: [f64; 3]) -> Self {
        Self { x, y, z }
    }

    /// Whether all three values are finite.
    pub fn is_finite(self) -> bool {
        self.to_array().iter().all(|v| v.is_finite())
    }
}

/// A 3 × 3 matrix times a column.
pub(super) fn times(matrix: &[[f64; 3]; 3], [x, y, z]: [f64; 3]) -> [f64; 3] {
    matrix.map(|[a, b, c]| a * x + b * y + c * z)
}
