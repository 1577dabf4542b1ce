//! Everything that the nozzle lays, in order.

use blend::Shares;
use serde::{Deserialize, Serialize};

/// Everything that the nozzle lays for a part, in order.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Extrusion {
    /// The stretches; none is empty.
    pub stretches: Vec<Stretch>,
}

/// Plastic laid for one purpose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stretch {
    /// The layer that is being printed, from 0.
    pub layer: usize,
    /// How much, mm³.
    pub volume_mm3: f64,
    /// What for.
    pub purpose: Purpose,
}

/// What plastic is laid for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Purpose {
    /// It is seen.
    Skin {
        /// Index of the dose in its layer.
        dose: usize,
        /// Visible area, mm².
        area_mm2: f64,
        /// The blend that the plan asks for.
        asked: Shares,
        /// The blend that is aimed at: another one where a region yields or blends are merged.
        aim: Shares,
    },
    /// Inside the part, deeper than colour reaches: any blend will do.
    Inside,
    /// Flushed away.
    Waste,
}

impl Extrusion {
    /// Extruded volumes at which stretches begin, and the end, mm³: one more than there are
    /// stretches.
    pub(crate) fn edges_mm3(&self) -> Vec<f64> {
        let mut at = 0.0;
        let mut edges = vec![at];
        for stretch in &self.stretches {
            at += stretch.volume_mm3;
            edges.push(at);
        }
        edges
    }

    /// All plastic, waste included, mm³.
    pub fn volume_mm3(&self) -> f64 {
        self.stretches.iter().map(|s| s.volume_mm3).sum()
    }

    /// The layer that is being printed at an extruded volume, and how much of that layer has
    /// been laid by then, mm³.
    pub fn place(&self, at_mm3: f64) -> (usize, f64) {
        let (mut begun, mut layer, mut start) = (0.0, 0, 0.0);
        for stretch in &self.stretches {
            if stretch.layer != layer {
                if at_mm3 < begun {
                    break;
                }
                (layer, start) = (stretch.layer, begun);
            }
            begun += stretch.volume_mm3;
        }
        (layer, (at_mm3 - start).max(0.0))
    }

    /// Adds a stretch, if there is anything of it.
    pub(super) fn push(&mut self, layer: usize, volume_mm3: f64, purpose: Purpose) {
        if volume_mm3 > 0.0 {
            self.stretches.push(Stretch {
                layer,
                volume_mm3,
                purpose,
            });
        }
    }
}
