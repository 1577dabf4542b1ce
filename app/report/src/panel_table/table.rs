//! What the tables hold.

use blend::Shares;
use plan::Painted;
use serde::{Deserialize, Serialize};

/// What a firmware can be told at its screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Screen {
    /// Fades with a start and an end height, 1 or more.
    pub fades: usize,
    /// Blends that it can store, 1 or more.
    pub stored: usize,
    /// What it lays outside of its fades.
    pub outside: Outside,
}

/// What a screen lays at heights where no fade is keyed in. Firmwares differ; its manual says
/// which, or a print of two short fades.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outside {
    /// Not known: fades leave no gap, and cover all of the part.
    #[default]
    Unknown,
    /// Below the first fade the blend that it begins with, above the last one the blend that it
    /// ends with; between fades there may be no gap.
    Ends,
    /// The same, and between two fades the blend that the lower one ended with.
    Hold,
}

impl Outside {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Unknown => {
                "The fades leave no gap, so it does not matter what the screen does outside of \
                 them. If it\nholds its blend, fewer fades are enough: see --outside."
            }
            Self::Ends => {
                "The screen must feed the first fade's first blend below it, and the last fade's \
                 last blend\nabove it."
            }
            Self::Hold => {
                "The screen must hold each fade's last blend until the next one begins. Below the \
                 first\nfade, it must feed that fade's first blend."
            }
        }
    }
}

impl Screen {
    /// Four fades, and as many stored blends as the machine says, or eight.
    pub fn of(painted: &Painted) -> Self {
        Self {
            fades: 4,
            stored: painted.plan().machine.stored_blends.unwrap_or(8).max(1),
            outside: Outside::default(),
        }
    }
}

/// How far something is off what the plan asks for, over the visible area.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Off {
    /// Mean ΔE00.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the area stays within.
    #[serde(alias = "most_de00")]
    pub p95_de00: f64,
    /// Greatest ΔE00.
    pub worst_de00: f64,
}

/// A fade to be keyed in: the shares change evenly with height. With equal ends it is one blend.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FadeRow {
    /// Where it begins, mm.
    pub from_mm: f64,
    /// Where it ends, mm.
    pub to_mm: f64,
    /// The blend at its beginning.
    pub start: Shares,
    /// The blend at its end.
    pub end: Shares,
}

/// From a height upwards a stored blend.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Swap {
    /// From where, mm.
    pub from_mm: f64,
    /// Index of the blend.
    pub blend: usize,
}

/// The tables.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PanelTable {
    /// Fades, from the bed up; without gaps unless the screen fills them ([`Outside`]).
    pub fades: Vec<FadeRow>,
    /// How far the fades are off.
    pub fades_off: Off,
    /// Blends to be stored.
    pub stored: Vec<Shares>,
    /// Where to change between them, from the bed up.
    pub swaps: Vec<Swap>,
    /// How far the stored blends are off.
    pub stored_off: Off,
}
