//! What a person saw of a print.

use blend::SpoolColour;

/// All that was seen of a print.
#[derive(Clone, Debug, PartialEq)]
pub struct Sighting {
    /// The usual error of a colour reading, ΔE00. Default 1.5: a hand-held colorimeter on
    /// printed plastic (our assumption, no source).
    pub colour_error_de00: f64,
    /// What the colour readings are off together. Default none: a colorimeter set on anew for
    /// each reading.
    pub systematic: Systematic,
    /// The usual error of turns, as a part of them. Default 0.02.
    pub turns_error: f64,
    /// The usual error of a length of filament, as a part of it. Default 0.02.
    pub filament_error: f64,
    /// What was seen.
    pub seen: Vec<Seen>,
}

/// What all colour readings of a print are off together, one standard error: a photograph's
/// camera, light and pose are the same for every height (the systematic effects of JCGM 100:2008,
/// *Guide to the expression of uncertainty in measurement*, 3.3; from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Systematic {
    /// Of the colours, ΔE00. It may change slowly along the height.
    pub colour_de00: f64,
    /// Of the heights, mm.
    pub height_mm: f64,
}

impl Systematic {
    /// Whether there is none.
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }
}

/// One thing that was seen. Drives count from 1, in the order of the plan's spools.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// The colour at a height, where the layer shows its largest region.
    Colour {
        /// The height, mm.
        height_mm: f64,
        /// What it looks like.
        colour: SpoolColour,
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
    /// Sightings with the usual errors.
    pub fn new(seen: Vec<Seen>) -> Self {
        Self {
            colour_error_de00: 1.5,
            systematic: Systematic::default(),
            turns_error: 0.02,
            filament_error: 0.02,
            seen,
        }
    }
}
