//! The plan document: what a person writes, and nothing that can be derived.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod blends;
mod check;
mod external;
mod filling;
mod hash;
mod imprints;
mod laying;
mod load;
mod spools;
mod stand;
mod template;
mod text;
mod wall;

use std::sync::Arc;

use blend::{Fade, MixModel, Shares, ThroughWall};
use geometry::mask::Stroke;
use geometry::place::Placement;
use geometry::{Field, LayerPlan, Mask};
use serde::{Deserialize, Serialize};

use crate::Machine;

pub use blends::NamedBlend;
pub use external::External;
pub use filling::Filling;
pub use hash::{HashError, hex, sha256_hex};
pub use imprints::line_of;
pub use laying::{Laying, SharedLayers};
pub use load::{Cause, LoadError};
pub use spools::SpoolSet;
pub use stand::{StandError, Stood};
pub use template::FirstPlan;
pub use wall::Wall;

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
    /// The spools, in the order of the hotend's components, or the file that they stand in.
    pub spools: External<SpoolSet>,
    /// The machine, or the file that it stands in.
    #[serde(default)]
    pub machine: External<Machine>,
    /// The layers.
    pub layers: LayerPlan,
    /// How deep colour reaches beneath the surface, mm; plastic deeper than this is free.
    #[serde(default = "three_walls")]
    pub skin_mm: f64,
    /// The wall that shows; opaque in depth unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wall: Option<Wall>,
    /// The greatest ΔE00 between neighbouring shades when a fade runs across a layer and has
    /// to be laid in steps.
    #[serde(default = "step_seen_at_a_glance")]
    pub step_de00: f64,
    /// How the part is printed inside: what is laid is reckoned from it, until there is a
    /// toolpath.
    #[serde(default)]
    pub filling: Filling,
    /// How the machine is to lay what the regions ask for.
    #[serde(default)]
    pub laying: Laying,
    /// Blends with a name, for regions to share.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blends: Vec<NamedBlend>,
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
    /// How it is set on the bed; as it lies in the file, its own z axis up, unless given.
    #[serde(default, skip_serializing_if = "is_plain")]
    pub place: Placement,
    /// Mend it before anything else: see [`geometry::mend`].
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub mend: bool,
}

impl MeshSource {
    /// A file whose part stands as it was drawn.
    pub fn named(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            place: Placement::default(),
            mend: false,
        }
    }
}

fn is_plain(place: &Placement) -> bool {
    *place == Placement::default()
}

impl Plan {
    /// The mixing model of the plan's spools: fitted where they were measured, and seen through
    /// the plan's wall if it has one.
    pub fn model(&self) -> Arc<dyn MixModel> {
        let model = blend::model_for(&self.spools, self.spools.measured.as_ref());
        match self.wall {
            Some(wall) => Arc::new(ThroughWall::new(model, wall.thickness_mm, wall.backing())),
            None => model,
        }
    }
}

/// A named area and its blend.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// The user's name for it.
    pub name: String,
    /// Where it is, before the brush.
    pub mask: Mask,
    /// Strokes of the brush, in the order drawn: a later one covers an earlier one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub brush: Vec<BrushStroke>,
    /// What it gets.
    pub paint: Paint,
    /// Left out for now.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub hidden: bool,
    /// Guarded against edits.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub locked: bool,
}

impl Region {
    /// A region that is neither hidden nor locked.
    pub fn new(name: impl Into<String>, mask: Mask, paint: Paint) -> Self {
        Self {
            name: name.into(),
            mask,
            brush: Vec::new(),
            paint,
            hidden: false,
            locked: false,
        }
    }

    /// A region that is nothing but brush strokes, none yet.
    pub fn painted(name: impl Into<String>, paint: Paint) -> Self {
        Self::new(name, Mask::nothing(), paint)
    }
}

/// One stroke of the brush on a region. Where strokes cross, the last one has its way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum BrushStroke {
    /// The region grows by the stroke.
    Paint(Stroke),
    /// The stroke is taken out of the region.
    Erase(Stroke),
}

impl BrushStroke {
    /// The stroke itself.
    pub fn stroke(&self) -> &Stroke {
        match self {
            Self::Paint(stroke) | Self::Erase(stroke) => stroke,
        }
    }

    /// The stroke itself, to be changed.
    pub(crate) fn stroke_mut(&mut self) -> &mut Stroke {
        match self {
            Self::Paint(stroke) | Self::Erase(stroke) => stroke,
        }
    }
}

/// What a region gets.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Paint {
    /// One blend.
    Fixed(Shares),
    /// One of the plan's named blends; the text has its name alone.
    Blend(#[serde(with = "blends::by_name")] NamedBlend),
    /// A fade along a measure of the surface.
    Fade {
        /// What it runs along.
        along: Field,
        /// Its stops and spacing.
        fade: Fade,
    },
}

impl Paint {
    /// The one blend, unless it is a fade.
    pub fn one_blend(&self) -> Option<&Shares> {
        match self {
            Self::Fixed(shares) | Self::Blend(NamedBlend { shares, .. }) => Some(shares),
            Self::Fade { .. } => None,
        }
    }
}

/// Three walls of a 0.4 mm nozzle: common practice, no source.
pub(crate) fn three_walls() -> f64 {
    1.2
}

/// A difference seen at a glance, but not as a hard edge: our choice, no source.
pub(crate) fn step_seen_at_a_glance() -> f64 {
    4.0
}
