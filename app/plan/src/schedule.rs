//! What is asked of the machine, layer by layer, in print order. Derived, never edited.

use blend::{Lab, Shares, Srgb};
use geometry::LayerSpan;
use serde::{Deserialize, Serialize};

/// The schedule of one part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Schedule {
    /// Version of this format.
    pub version: u32,
    /// Layers from the bed upwards.
    pub layers: Vec<Layer>,
}

/// One layer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Layer {
    /// Its extent.
    pub span: LayerSpan,
    /// Its doses, in print order.
    pub doses: Vec<Dose>,
}

/// Plastic of one blend laid down without a change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dose {
    /// Index of the region in the plan.
    pub region: usize,
    /// The blend.
    pub shares: Shares,
    /// Volume laid down, mm³.
    pub volume_mm3: f64,
    /// Visible area, mm².
    pub area_mm2: f64,
    /// Filament of each component, mm.
    pub filament_mm: Vec<f64>,
    /// Predicted colour.
    pub lab: Lab,
    /// Predicted colour as shown.
    pub srgb: Srgb,
}
