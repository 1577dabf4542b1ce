//! One layer of the schedule and its doses.

use blend::{Lab, Shares, Srgb};
use geometry::LayerSpan;
use serde::{Deserialize, Serialize};

/// One layer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Layer {
    /// Its extent.
    pub span: LayerSpan,
    /// Plastic laid, mm³; the doses add up to it.
    pub volume_mm3: f64,
    /// The part of it that lies deeper than colour reaches, mm³: free for any blend.
    pub free_mm3: f64,
    /// Exact area of skin, mm²; the doses add up to it.
    pub area_mm2: f64,
    /// Its doses, in print order.
    pub doses: Vec<Dose>,
}

/// Plastic of one blend laid down without a change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
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
    /// One standard error of the prediction as ΔE00, where the model tells it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty_de00: Option<f64>,
}

impl Layer {
    /// The place of the dose that shows a region's blend: of the region's doses the one whose
    /// blend is nearest. A region that has none in this layer lies about its edge, and the main
    /// dose shows. None only for a layer without doses.
    pub fn dose_for(&self, region: usize, asked: &Shares) -> Option<usize> {
        let doses = self.doses.iter().enumerate();
        let own = doses.filter(|(_, dose)| dose.region == region);
        let off = |dose: &Dose| dose.shares.distance(asked);
        own.min_by(|(_, a), (_, b)| off(a).total_cmp(&off(b)))
            .map_or_else(|| self.main(), |(place, _)| Some(place))
    }

    /// The layer's dominant dose: the one of the largest visible area; of none visible, of the
    /// largest volume.
    pub fn main_dose(&self) -> Option<&Dose> {
        self.doses.get(self.main()?)
    }

    /// The place of the dominant dose.
    pub fn main(&self) -> Option<usize> {
        let larger = |a: &Dose, b: &Dose| {
            let area = a.area_mm2.total_cmp(&b.area_mm2);
            area.then(a.volume_mm3.total_cmp(&b.volume_mm3))
        };
        let doses = self.doses.iter().enumerate();
        doses
            .max_by(|(_, a), (_, b)| larger(a, b))
            .map(|(place, _)| place)
    }
}
