//! Merging of blends that are nearly alike, region by region.

use blend::{MixModel, Shares};

use super::{Item, fewest_pieces};
use crate::schedule::Schedule;

/// Merges the blends that each region is aimed at from layer to layer while none is off by more
/// than `de00`.
pub(super) fn merge(
    aims: &mut [Vec<Shares>],
    schedule: &Schedule,
    model: &dyn MixModel,
    de00: f64,
) {
    for region in 0..schedule.totals.regions.len() {
        let mut places = Vec::new();
        let mut items = Vec::new();
        for (layer, doses) in schedule.layers.iter().enumerate() {
            // Steps of a fade across a layer are few and the same everywhere already.
            let mut own = doses
                .doses
                .iter()
                .enumerate()
                .filter(|(_, d)| d.region == region);
            if let (Some((i, dose)), None) = (own.next(), own.next()) {
                places.push((layer, i));
                items.push(Item {
                    shares: aims[layer][i],
                    weight: dose.area_mm2,
                });
            }
        }
        for piece in fewest_pieces(&items, de00, model) {
            for &(layer, dose) in &places[piece.first..=piece.last] {
                aims[layer][dose] = piece.shares;
            }
        }
    }
}
