//! The machine: what its hotend and drives can and can't do.

use serde::{Deserialize, Serialize};

/// Limits of the machine that the plan must keep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Machine {
    /// The smallest step in which a share can be set.
    pub share_step: f64,
    /// The least share of a component that is in use at all.
    pub least_share: f64,
}

impl Default for Machine {
    fn default() -> Self {
        Self {
            share_step: 0.01,
            least_share: 0.0,
        }
    }
}
