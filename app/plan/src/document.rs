//! The plan document: what a person writes, and nothing that can be derived.

use blend::{Fade, Shares, Spool};
use geometry::{Field, LayerPlan, Mask};
use serde::{Deserialize, Serialize};

use crate::Machine;

/// The plan of one part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// Version of this format.
    pub version: u32,
    /// What the part is, in the user's words.
    #[serde(default)]
    pub title: String,
    /// The part.
    pub mesh: MeshSource,
    /// The spools, in the order of the hotend's components.
    pub spools: Vec<Spool>,
    /// The machine.
    #[serde(default)]
    pub machine: Machine,
    /// The layers.
    pub layers: LayerPlan,
    /// How deep colour reaches beneath the surface, mm; plastic deeper than this is free.
    #[serde(default = "three_walls")]
    pub skin_mm: f64,
    /// The regions, from the base upwards: a later one covers an earlier one, and the first
    /// covers everything, so every point has exactly one blend.
    pub regions: Vec<Region>,
}

/// Which mesh, and how it is set on the bed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeshSource {
    /// The file, relative to the plan's folder.
    pub file: String,
}

/// A named area and its blend.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// The user's name for it.
    pub name: String,
    /// Where it is.
    pub mask: Mask,
    /// What it gets.
    pub paint: Paint,
    /// Left out for now.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub hidden: bool,
    /// Guarded against edits.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub locked: bool,
}

/// What a region gets.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Paint {
    /// One blend.
    Fixed(Shares),
    /// A fade along a measure of the surface.
    Fade {
        /// What it runs along.
        along: Field,
        /// Its stops and spacing.
        fade: Fade,
    },
}

/// Three walls of a 0.4 mm nozzle: common practice, no source.
fn three_walls() -> f64 {
    1.2
}
