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

/// A plan with purging at its jumps.
pub(super) struct Purged {
    jumps: usize,
    costs_g: f64,
    costs_m: f64,
    costs_minutes: f64,
    delivery: Delivery,
}

/// Follows a plan with purging at its jumps; none where nothing jumps, or where jumps are purged
/// already. `now` is its waste without.
pub(super) fn purged(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    now: &Waste,
) -> Option<Purged> {
    if plan.laying.purge_jumps || !plan.laying.lead {
        return None;
    }
    let laying = Laying {
        purge_jumps: true,
        ..plan.laying
    };
    let extrusion = lay_out_as(&plan.machine, &laying, model, schedule);
    let waste = Waste::of(&extrusion, plan);
    let jumps = waste.flushes.saturating_sub(now.flushes);
    if jumps == 0 {
        return None;
    }
    let commands = compensated(&extrusion, &plan.machine, model).commands;
    let chamber = &plan.machine.chamber;
    Some(Purged {
        jumps,
        costs_g: waste.mass_g - now.mass_g,
        costs_m: waste.length_m - now.length_m,
        costs_minutes: waste.minutes - now.minutes,
        delivery: assess(&extrusion, schedule, &commands, chamber, model),
    })
}

impl Purged {
    /// The offer, beside what comes out without; none where the colours would be no better for it.
    pub(super) fn offer(self, now: &Delivery) -> Option<JumpOffer> {
        let Self {
            jumps,
            costs_g,
            costs_m,
            costs_minutes,
            delivery: then,
        } = self;
        let text = format!(
            "The blend jumps between layers {}, and the melt chamber smears that. Purging there \
             (laying: purge_jumps: true) would bring the mean ΔE00 from {:.1} to {:.1} and the \
             worst from {:.0} to {:.0}. It costs {costs_g:.1} g and {costs_minutes:.0} min.",
            match jumps {
                1 => "once".to_owned(),
                n => format!("{n} times"),
            },
            now.mean_de00,
            then.mean_de00,
            now.worst_de00,
            then.worst_de00,
        );
        (then.mean_de00 < now.mean_de00).then_some(JumpOffer {
            jumps,
            costs_g,
            costs_m,
            costs_minutes,
            mean_de00: then.mean_de00,
            worst_de00: then.worst_de00,
            text,
        })
    }
}
