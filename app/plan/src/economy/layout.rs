//! From a schedule to everything that the nozzle lays.

use blend::{MixModel, Shares};

use super::flush::FlushTable;
use super::{Extrusion, Purpose, merge, stored, yielding};
use crate::document::{Laying, SharedLayers};
use crate::schedule::{Layer, Schedule};
use crate::{Machine, Plan};

/// Lays a schedule out as the plan says.
///
/// Within a layer the doses follow each other in the schedule's order. Where the blend changes
/// between two of them, what has to be flushed goes inside the part as far as there is free
/// plastic in the layer, and to waste for the rest. What is left of the free plastic comes last.
/// Between layers nothing is wasted.
pub fn lay_out(plan: &Plan, model: &dyn MixModel, schedule: &Schedule) -> Extrusion {
    lay_out_as(&plan.machine, &plan.laying, model, schedule)
}

/// As [`lay_out`], for a machine and a way of laying that need not be the plan's.
pub fn lay_out_as(
    machine: &Machine,
    laying: &Laying,
    model: &dyn MixModel,
    schedule: &Schedule,
) -> Extrusion {
    let aims = aims(machine, laying, model, schedule);
    let mut flush = FlushTable::new(machine, model, laying.lead);
    let mut extrusion = Extrusion::default();
    for (index, (layer, aims)) in schedule.layers.iter().zip(&aims).enumerate() {
        lay_layer(&mut extrusion, index, layer, aims, machine, &mut flush);
    }
    extrusion
}

/// The blend that each dose of each layer is aimed at.
fn aims(
    machine: &Machine,
    laying: &Laying,
    model: &dyn MixModel,
    schedule: &Schedule,
) -> Vec<Vec<Shares>> {
    let own = |layer: &Layer| layer.doses.iter().map(|d| d.shares).collect::<Vec<_>>();
    let mut aims: Vec<Vec<Shares>> = schedule
        .layers
        .iter()
        .map(|layer| match laying.shared_layers {
            SharedLayers::Flush => own(layer),
            SharedLayers::OneBlend => match yielding::winner(layer, model) {
                Some(winner) => vec![layer.doses[winner].shares; layer.doses.len()],
                None => Vec::new(),
            },
        })
        .collect();
    if let Some(de00) = laying.merge_de00 {
        merge::merge(&mut aims, schedule, model, de00);
    }
    if let Some(count) = machine.stored_blends {
        stored::fit(&mut aims, schedule, model, machine, count);
    }
    aims
}

fn lay_layer(
    extrusion: &mut Extrusion,
    index: usize,
    layer: &Layer,
    aims: &[Shares],
    machine: &Machine,
    flush: &mut FlushTable,
) {
    // The free plastic went with the largest dose.
    let main = (0..layer.doses.len()).max_by(|&a, &b| {
        layer.doses[a]
            .volume_mm3
            .total_cmp(&layer.doses[b].volume_mm3)
    });
    let mut free = layer.free_mm3;
    for (i, (dose, aim)) in layer.doses.iter().zip(aims).enumerate() {
        let inside = if Some(i) == main { layer.free_mm3 } else { 0.0 };
        extrusion.push(
            index,
            (dose.volume_mm3 - inside).max(0.0),
            Purpose::Skin {
                dose: i,
                area_mm2: dose.area_mm2,
                asked: dose.shares,
                aim: *aim,
            },
        );
        let Some(next) = aims.get(i + 1) else {
            continue;
        };
        let needed = flush.volume_mm3(&machine.fed(aim), &machine.fed(next));
        let hidden = match machine.flush.inside_first {
            true => needed.min(free),
            false => 0.0,
        };
        free -= hidden;
        extrusion.push(index, hidden, Purpose::Inside);
        extrusion.push(index, needed - hidden, Purpose::Waste);
    }
    extrusion.push(index, free, Purpose::Inside);
}
