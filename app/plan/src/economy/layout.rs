//! From a schedule to everything that the nozzle lays.

use blend::{MixModel, Shares, ciede2000};

use super::{ENOUGH_MM3, Extrusion, FlushTable, Lead, Purpose, merge, stored, yielding};
use crate::document::{Laying, SharedLayers};
use crate::schedule::{Layer, Schedule};
use crate::{Machine, Plan};

/// Lays a schedule out as the plan says.
///
/// Within a layer the doses follow each other in the schedule's order. Where the blend changes
/// between two of them, what has to be flushed goes inside the part as far as there is free
/// plastic in the layer, and to waste for the rest. What is left of the free plastic comes last.
/// A change between two layers is flushed where one of them has several blends, for such doses
/// are mostly too small to settle while they are seen; and at a jump of height, if the plan says
/// so ([`Laying::purge_jumps`]). Between other layers nothing is wasted.
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
    let mut table = Layout {
        machine,
        laying,
        model,
        flush: FlushTable::new(machine, model, laying.lead),
        lead: None,
        extrusion: Extrusion::default(),
        laid_mm3: 0.0,
        last: None,
    };
    for (index, (layer, aims)) in schedule.layers.iter().zip(&aims).enumerate() {
        table.lay(index, layer, aims);
    }
    table.extrusion
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

/// A jump is a change between regions, or one so large that no fade takes it in a step, ΔE00
/// (our assumption, no source).
const JUMP_DE00: f64 = 10.0;

/// A part while it is laid out.
struct Layout<'a> {
    machine: &'a Machine,
    laying: &'a Laying,
    model: &'a dyn MixModel,
    flush: FlushTable<'a>,
    /// What is sent ahead, if anything is.
    lead: Option<Lead>,
    extrusion: Extrusion,
    laid_mm3: f64,
    last: Option<Last>,
}

/// The last plastic that is seen.
#[derive(Clone, Copy)]
struct Last {
    ends_mm3: f64,
    layer: usize,
    region: usize,
    /// The blend that is fed for it.
    fed: Shares,
    /// Whether its layer has several blends.
    shared: bool,
}

impl Layout<'_> {
    fn lay(&mut self, index: usize, layer: &Layer, aims: &[Shares]) {
        let fed: Vec<Shares> = aims.iter().map(|aim| self.machine.fed(aim)).collect();
        let shared = fed
            .windows(2)
            .any(|pair| self.flush.settling(&pair[0], &pair[1]).is_some());
        // The free plastic went with the largest dose.
        let main = (0..layer.doses.len()).max_by(|&a, &b| {
            layer.doses[a]
                .volume_mm3
                .total_cmp(&layer.doses[b].volume_mm3)
        });
        let mut free = layer.free_mm3;
        let begins_mm3 = self.laid_mm3;
        for (i, ((dose, aim), fed)) in layer.doses.iter().zip(aims).zip(&fed).enumerate() {
            let inside = if Some(i) == main { layer.free_mm3 } else { 0.0 };
            let volume_mm3 = dose.volume_mm3 - inside;
            if volume_mm3 <= 0.0 {
                continue;
            }
            let here = Last {
                ends_mm3: 0.0,
                layer: index,
                region: dose.region,
                fed: *fed,
                shared,
            };
            let more = self.changed(&here, begins_mm3);
            let hidden = match self.machine.flush.inside_first {
                true => more.min(free),
                false => 0.0,
            };
            free -= hidden;
            self.push(index, hidden, Purpose::Inside);
            self.push(index, more - hidden, Purpose::Waste);
            self.push(
                index,
                volume_mm3,
                Purpose::Skin {
                    dose: i,
                    area_mm2: dose.area_mm2,
                    asked: dose.shares,
                    aim: *aim,
                },
            );
            self.last = Some(Last {
                ends_mm3: self.laid_mm3,
                ..here
            });
        }
        self.push(index, free, Purpose::Inside);
    }

    /// Sends what a dose needs, and gives the volume to be flushed right before it.
    fn changed(&mut self, here: &Last, layer_begins_mm3: f64) -> f64 {
        let Some(last) = self.last else {
            self.lead = self.laying.lead.then(|| Lead::new(self.machine, here.fed));
            return 0.0;
        };
        if last.fed == here.fed {
            return 0.0;
        }
        let settling = self.flush.settling(&last.fed, &here.fed);
        let flushed = self.is_flushed(&last, here);
        let Some(lead) = &mut self.lead else {
            let sent_mm3 = match last.layer == here.layer {
                true => last.ends_mm3,
                false => layer_begins_mm3,
            };
            let settling = settling.filter(|_| flushed);
            return settling.map_or(0.0, |s| (sent_mm3 + s.volume_mm3 - self.laid_mm3).max(0.0));
        };
        if let Some(settling) = settling {
            let needed = lead.needed_mm3(&settling, last.ends_mm3);
            let more = last.ends_mm3 + needed - self.laid_mm3;
            if flushed || more <= ENOUGH_MM3 {
                lead.flush(&settling, here.fed, last.ends_mm3);
                return if more > ENOUGH_MM3 { more } else { 0.0 };
            }
        }
        lead.open(here.fed, last.ends_mm3, self.laid_mm3);
        0.0
    }

    fn is_flushed(&self, last: &Last, here: &Last) -> bool {
        if last.shared || here.shared {
            return true;
        }
        self.laying.purge_jumps && (last.region != here.region || self.is_wide(last, here))
    }

    fn is_wide(&self, last: &Last, here: &Last) -> bool {
        let lab = |shares: &Shares| self.model.mix(shares).to_lab();
        ciede2000(lab(&last.fed), lab(&here.fed)) > JUMP_DE00
    }

    fn push(&mut self, layer: usize, volume_mm3: f64, purpose: Purpose) {
        self.laid_mm3 += volume_mm3.max(0.0);
        self.extrusion.push(layer, volume_mm3, purpose);
    }
}
