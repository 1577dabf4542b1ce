//! What a person saw of a print.

use blend::SpoolColour;

/// All that was seen of a print.
#[derive(Clone, Debug, PartialEq)]
pub struct Sighting {
    /// The usual error of a colour reading, ΔE00. Default 1.5: a hand-held colorimeter on
    /// printed plastic (our assumption, no source).
    pub colour_error_de00: f64,
    /// How far the heights of all colours may be off together, mm. Default none.
    pub height_error_mm: f64,
    /// The usual error of turns, as a part of them. Default 0.02.
    pub turns_error: f64,
    /// The usual error of a length of filament, as a part of it. Default 0.02.
    pub filament_error: f64,
    /// What was seen.
    pub seen: Vec<Seen>,
}

/// What a colour is off together with others of the print, one standard error, ΔE00: a photograph's
/// camera and light are the same for every height (the systematic effects of JCGM 100:2008, *Guide
/// to the expression of uncertainty in measurement*, 3.3; from memory). Default none: a colorimeter
/// that is set on again for each reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Together {
    /// By the camera, which sees like colours alike.
    pub camera_de00: f64,
    /// By the light on the faces, which is off alike on faces that are near each other: lighter or
    /// darker, and nothing else.
    pub lightness_de00: f64,
}

/// One thing that was seen. Drives count from 1, in the order of the plan's spools.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// The colour at a height.
    Colour {
        /// The height, mm.
        height_mm: f64,
        /// Index of the region in the plan; where it is not told, the layer's largest.
        region: Option<usize>,
        /// What it looks like.
        colour: SpoolColour,
        /// What it may be off together with others.
        together: Together,
    },
    /// How often a drive's gear had turned when the print had reached a height.
    Turns {
        /// The height, mm.
        height_mm: f64,
        /// Which drive, from 1.
        drive: usize,
        /// Turns since the beginning.
        turns: f64,
    },
    /// How much filament had gone into a drive when the print had reached a height.
    Filament {
        /// The height, mm.
        height_mm: f64,
        /// Which drive, from 1.
        drive: usize,
        /// Filament since the beginning, mm.
        filament_mm: f64,
    },
}

impl Seen {
    /// The height, mm.
    pub fn height_mm(&self) -> f64 {
        match self {
            Self::Colour { height_mm, .. }
            | Self::Turns { height_mm, .. }
            | Self::Filament { height_mm, .. } => *height_mm,
        }
    }
}

impl Sighting {
    /// Whether it says how far colours may be off together, as photographs do.
    pub fn is_photographed(&self) -> bool {
        let is_off = |seen: &Seen| match seen {
            Seen::Colour { together, .. } => *together != Together::default(),
            _ => false,
        };
        self.height_error_mm > 0.0 || self.seen.iter().any(is_off)
    }

    /// Sightings with the usual errors.
    pub fn new(seen: Vec<Seen>) -> Self {
        Self {
            colour_error_de00: 1.5,
            height_error_mm: 0.0,
            turns_error: 0.02,
            filament_error: 0.02,
            seen,
        }
    }
}
