//! Heights: the layer plan, the contours at a height, and what lies between two heights.

use serde::{Deserialize, Serialize};

/// How the part is cut into layers. All heights in mm above the build plate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayerPlan {
    /// Height of the first layer.
    pub first_layer_mm: f64,
    /// Height of the layers above it.
    pub layer_mm: f64,
    /// Changes of layer height further up, in rising order; empty for a plain plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<LayerChange>,
}

/// From a height upwards, layers of another height.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayerChange {
    /// The first layer whose bottom is at or above this height gets the new layer height.
    pub above_mm: f64,
    /// The new layer height.
    pub layer_mm: f64,
}

/// One layer's extent in height, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LayerSpan {
    /// Where the layer begins.
    pub bottom_mm: f64,
    /// Where it ends: the nozzle's height while printing it.
    pub top_mm: f64,
}

impl LayerSpan {
    /// Layer height, mm.
    pub fn height_mm(&self) -> f64 {
        self.top_mm - self.bottom_mm
    }

    /// The middle height, at which the layer's contours are taken.
    pub fn middle_mm(&self) -> f64 {
        0.5 * (self.bottom_mm + self.top_mm)
    }
}
