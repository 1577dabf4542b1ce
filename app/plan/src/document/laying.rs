//! How the machine is to lay what the regions ask for.

use serde::{Deserialize, Serialize};

/// How the machine is to lay what the regions ask for. All fields may be left out.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Laying {
    /// What happens where regions share a layer.
    pub shared_layers: SharedLayers,
    /// Whether changes are sent ahead of their place, so that the melt chamber's lag does not
    /// show. Default true.
    pub lead: bool,
    /// Blends of a fade may be merged while none is off by more than this, ΔE00, to send fewer
    /// commands. Default none: each layer keeps its own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub merge_de00: Option<f64>,
    /// Whether the old blend is flushed out where the blend jumps between two layers, such as
    /// from one band to the next. Default false: nothing is wasted, and the jump is smeared over
    /// what the melt chamber holds.
    #[serde(skip_serializing_if = "is_false")]
    pub purge_jumps: bool,
}

/// Whether a field need not be written.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "as serde calls it")]
fn is_false(value: &bool) -> bool {
    !value
}

/// What happens where regions share a layer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum SharedLayers {
    /// The blend is changed within the layer, and the old one flushed out.
    #[default]
    Flush,
    /// The layer has one blend, the one that is nearest to what all its visible area asks for;
    /// the other regions yield. Nothing is wasted.
    OneBlend,
}

impl Default for Laying {
    fn default() -> Self {
        Self {
            shared_layers: SharedLayers::Flush,
            lead: true,
            merge_de00: None,
            purge_jumps: false,
        }
    }
}
