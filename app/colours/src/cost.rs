//! What it costs to change between the blends of a labelled part.

use blend::{MixModel, Shares};
use geometry::LayerSpan;
use geometry::pieces::NO_LABEL;
use plan::Plan;
use plan::economy::FlushTable;

use crate::Sampled;

/// What changes cost.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Cost {
    /// Changes of blend for each layer, the mean.
    pub(crate) changes_per_layer: f64,
    /// What is flushed for them if none of it goes inside the part, mm³ and g.
    pub(crate) purge_mm3: f64,
    pub(crate) purge_g: f64,
}

/// Counts the changes in layers that have some blends, a bit for each. In each layer they follow
/// each other by the least flush from one to the next, beginning with the one that the nozzle holds.
pub(crate) fn cost(layers: &[u64], blends: &[Shares], plan: &Plan, model: &dyn MixModel) -> Cost {
    let mut table = FlushTable::new(&plan.machine, model, plan.laying.lead);
    let mut cost = Cost::default();
    let mut changes = 0usize;
    let mut now: Option<u8> = None;
    for bits in layers {
        let mut left: Vec<u8> = (0..blends.len() as u8)
            .filter(|l| bits >> l & 1 == 1)
            .collect();
        if let Some(held) = now {
            left.retain(|label| *label != held || bits >> held & 1 == 0);
        } else if let Some(first) = left.first().copied() {
            now = Some(first);
            left.retain(|label| *label != first);
        }
        while !left.is_empty() {
            let volume = |table: &mut FlushTable<'_>, label: u8| {
                let from = now.and_then(|held| blends.get(held as usize));
                let to = blends.get(label as usize);
                from.zip(to)
                    .map_or(0.0, |(from, to)| table.volume_mm3(from, to))
            };
            let each = left
                .iter()
                .map(|label| (*label, volume(&mut table, *label)));
            let next = each.min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((next, volume_mm3)) = next else {
                break;
            };
            changes += 1;
            cost.purge_mm3 += volume_mm3;
            if let Some(blend) = blends.get(next as usize) {
                let parts = plan.spools.iter().zip(blend.as_slice());
                cost.purge_g += parts
                    .map(|(spool, share)| spool.mass_g(volume_mm3 * share))
                    .sum::<f64>();
            }
            left.retain(|label| *label != next);
            now = Some(next);
        }
    }
    cost.changes_per_layer = changes as f64 / layers.len().max(1) as f64;
    cost
}

/// For each of several labellings of the pieces, the labels in each layer, a bit each. What has no
/// label is the first blend's.
pub(crate) fn in_layers(
    sampled: &Sampled,
    labellings: &[Vec<u8>],
    spans: &[LayerSpan],
) -> Vec<Vec<u64>> {
    let mut layers = vec![vec![0u64; spans.len()]; labellings.len()];
    let layer = |z: f64| {
        spans
            .partition_point(|span| span.top_mm < z)
            .min(spans.len().saturating_sub(1))
    };
    let mesh = sampled.surface().mesh();
    let mut number = 0;
    for facet in 0..mesh.triangles().len() {
        let [a, b, c] = mesh.corners(facet).map(|corner| corner.z);
        for piece in sampled.pieces().each_of(mesh, facet) {
            let z = |along: f64, up: f64| {
                let [p, q, r] = piece.weights(along, up);
                a * p + b * q + c * r
            };
            // A hair inside, so that no layer is met by its edge alone.
            let ends = [z(0.1, 0.1), z(0.9, 0.1), z(0.1, 0.9), z(0.9, 0.9)];
            let low = ends.iter().copied().fold(f64::INFINITY, f64::min);
            let high = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let (from, to) = (layer(low), layer(high));
            for (labels, layers) in labellings.iter().zip(&mut layers) {
                let label = labels.get(number).copied().unwrap_or(NO_LABEL);
                let bit = 1u64 << if label == NO_LABEL { 0 } else { label.min(63) };
                if let Some(met) = layers.get_mut(from..=to) {
                    met.iter_mut().for_each(|bits| *bits |= bit);
                }
            }
            number += 1;
        }
    }
    layers
}
