//! What it would cost to flush the old blend out where the blend jumps between layers.

use blend::MixModel;
use serde::{Deserialize, Serialize};

use crate::Plan;
use crate::compensate::compensated;
use crate::delivery::{Delivery, assess};
use crate::document::Laying;
use crate::economy::{Waste, lay_out_as};
use crate::schedule::Schedule;

/// Jumps of blend between two layers, and what purging at them would cost and bring.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JumpOffer {
    /// How many jumps would be flushed.
    pub jumps: usize,
    /// What would be wasted more, g.
    pub costs_g: f64,
    /// In filament, m.
    pub costs_m: f64,
    /// Minutes that it takes more, at the usual flow.
    pub costs_minutes: f64,
    /// Mean ΔE00 over the visible area with it.
    pub mean_de00: f64,
    /// Greatest ΔE00 with it.
    pub worst_de00: f64,
    /// The offer in a sentence or two.
    pub text: String,
}

/// The offer for a plan; none where nothing jumps, where jumps are purged already, or where the
/// colours would be no better for it.
pub(super) fn offer(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    now: (&Delivery, &Waste),
) -> Option<JumpOffer> {
    if plan.laying.purge_jumps || !plan.laying.lead {
        return None;
    }
    let laying = Laying {
        purge_jumps: true,
        ..plan.laying
    };
    let extrusion = lay_out_as(&plan.machine, &laying, model, schedule);
    let waste = Waste::of(&extrusion, plan);
    let (delivery_now, waste_now) = now;
    let jumps = waste.flushes.saturating_sub(waste_now.flushes);
    if jumps == 0 {
        return None;
    }
    let commands = compensated(&extrusion, &plan.machine, model).commands;
    let then = assess(
        &extrusion,
        schedule,
        &commands,
        &plan.machine.chamber,
        model,
    );
    let costs_g = waste.mass_g - waste_now.mass_g;
    let costs_minutes = waste.minutes - waste_now.minutes;
    let text = format!(
        "The blend jumps between layers {}, and the melt chamber smears that. Purging there \
         (laying: purge_jumps: true) would bring the mean ΔE00 from {:.1} to {:.1} and the worst \
         from {:.0} to {:.0}. It costs {costs_g:.1} g and {costs_minutes:.0} min.",
        match jumps {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        },
        delivery_now.mean_de00,
        then.mean_de00,
        delivery_now.worst_de00,
        then.worst_de00,
    );
    (then.mean_de00 < delivery_now.mean_de00).then_some(JumpOffer {
        jumps,
        costs_g,
        costs_m: waste.length_m - waste_now.length_m,
        costs_minutes,
        mean_de00: then.mean_de00,
        worst_de00: then.worst_de00,
        text,
    })
}
