//! Units of length that mesh files use.

use serde::{Deserialize, Serialize};

/// The length that a mesh file's numbers count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// 0.001 mm.
    Micron,
    /// 1 mm.
    Millimetre,
    /// 10 mm.
    Centimetre,
    /// 1000 mm.
    Metre,
    /// 25.4 mm exactly (international yard and pound agreement, 1959).
    Inch,
    /// 304.8 mm exactly: 12 inches.
    Foot,
}

impl Unit {
    /// Every unit, the smallest first.
    pub const ALL: [Self; 6] = [
        Self::Micron,
        Self::Millimetre,
        Self::Centimetre,
        Self::Inch,
        Self::Foot,
        Self::Metre,
    ];

    /// Its length, mm.
    pub fn mm(self) -> f64 {
        match self {
            Self::Micron => 0.001,
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Metre => 1000.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
        }
    }

    /// Its name in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::Micron => "microns",
            Self::Millimetre => "millimetres",
            Self::Centimetre => "centimetres",
            Self::Metre => "metres",
            Self::Inch => "inches",
            Self::Foot => "feet",
        }
    }
}
