//! Which region yields where a layer gets one blend.

use blend::{MixModel, ciede2000};

use crate::schedule::Layer;

/// The index of the dose whose blend is nearest to what all of the layer's visible area asks
/// for: the one of the least ΔE00 summed over area. That is mostly the largest one.
pub(super) fn winner(layer: &Layer, model: &dyn MixModel) -> Option<usize> {
    let labs: Vec<_> = layer
        .doses
        .iter()
        .map(|d| model.mix(&d.shares).to_lab())
        .collect();
    let cost = |i: usize| -> f64 {
        let others = layer.doses.iter().zip(&labs);
        others
            .map(|(d, lab)| d.area_mm2 * ciede2000(labs[i], *lab))
            .sum()
    };
    let costs: Vec<f64> = (0..labs.len()).map(cost).collect();
    (0..costs.len()).min_by(|&a, &b| costs[a].total_cmp(&costs[b]))
}
