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
}

impl Screen {
    /// Four fades, and as many stored blends as the machine says, or eight.
    pub fn of(painted: &Painted) -> Self {
        Self {
            fades: 4,
            stored: painted.plan().machine.stored_blends.unwrap_or(8).max(1),
        }
    }
}

/// How far something is off what the plan asks for, over the visible area.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Off {
    /// Mean ΔE00.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the area stays within.
    pub most_de00: f64,
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
    /// Fades, from the bed up, without gaps.
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
