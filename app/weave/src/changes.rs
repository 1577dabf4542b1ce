//! When to change the blend, so that the nozzle lays it where the toolpath asks for it.
//!
//! What the toolpath asks for is the same kind of list that a plan's schedule is laid out as,
//! so the same compensation serves both: commands are sent ahead of their place by the melt
//! chamber's lag, into plastic that is never seen where there is some, and fed beyond the aim
//! where that helps ([`plan::compensate`]).

use blend::{MixModel, Shares};
use plan::compensate::{Compensation, How, compensated, led};
use plan::delivery::Commands;
use plan::economy::{Extrusion, Purpose, Stretch};
use plan::{Machine, Painted};

use super::short_runs;
use super::survey::{Demand, Survey};

/// Beyond so many stretches commands are sent ahead but not sharpened: least squares over
/// millions of changes would take longer than the print is worth.
const MOST_SHARPENED: usize = 4000;

/// The part of the old blend that may be left where a change has had room to settle.
const REST: f64 = 0.05;

/// Commands for a survey, and what they are good for.
pub(super) struct Changes {
    pub commands: Commands,
    /// How they were found.
    pub how: How,
    /// Mean ΔE00 over what is seen, without and with it; `None` where it was not worked out.
    pub de00: Option<[f64; 2]>,
    /// Changes that have less plastic to settle in than the chamber needs, before their blend
    /// is seen.
    pub hurried: usize,
    /// Stretches that were over before their blend would have been half there, and are laid in
    /// the blend about them.
    pub left_out: usize,
}

/// The changes that a survey asks for.
pub(super) fn changes(survey: &Survey, painted: &Painted) -> Changes {
    let plan = painted.plan();
    let (demands, left_out) = short_runs::without(survey, &plan.machine, painted.model());
    let extrusion = extrusion(&demands, &survey.blends, plan.machine.nozzle_mm);
    let found = match (plan.laying.lead, extrusion.stretches.len()) {
        (false, _) => plain(Commands::plain(&extrusion, &plan.machine), How::Plain),
        (true, count) if count > MOST_SHARPENED => plain(
            led(&extrusion, &plan.machine, painted.model()),
            How::Shifted,
        ),
        (true, _) => of(compensated(&extrusion, &plan.machine, painted.model())),
    };
    Changes {
        hurried: hurried(&demands, &survey.blends, &plan.machine, painted.model()),
        left_out,
        ..found
    }
}

fn plain(commands: Commands, how: How) -> Changes {
    Changes {
        commands,
        how,
        de00: None,
        hurried: 0,
        left_out: 0,
    }
}

fn of(found: Compensation) -> Changes {
    Changes {
        commands: found.commands,
        how: found.how,
        de00: Some([found.before_de00, found.after_de00]),
        hurried: 0,
        left_out: 0,
    }
}

/// What the toolpath lays, in the plan's terms. A line shows its width's worth of skin, so
/// area goes with volume.
fn extrusion(demands: &[Demand], blends: &[Shares], line_mm: f64) -> Extrusion {
    let mut layer = 0;
    let mut height_mm = f64::MIN;
    let stretches = demands.iter().map(|demand| {
        if demand.height_mm != height_mm {
            layer += usize::from(height_mm != f64::MIN);
            height_mm = demand.height_mm;
        }
        let blend = demand.blend.and_then(|b| blends.get(b as usize));
        Stretch {
            layer,
            volume_mm3: demand.volume_mm3,
            purpose: match blend {
                Some(shares) => Purpose::Skin {
                    dose: 0,
                    area_mm2: demand.volume_mm3 / line_mm.max(0.01),
                    asked: *shares,
                    aim: *shares,
                },
                None => Purpose::Inside,
            },
        }
    });
    Extrusion {
        stretches: stretches.collect(),
    }
}

/// Changes with too little plastic before them that is never seen, of those that can be told
/// from the blend before.
fn hurried(
    demands: &[Demand],
    blends: &[Shares],
    machine: &Machine,
    model: &dyn MixModel,
) -> usize {
    let chamber = &machine.chamber;
    let needed_mm3 = chamber.flushed_mm3(REST) - chamber.dead_mm3;
    let shares = |blend: u32| blends.get(blend as usize);
    let mut count = 0;
    let mut last = None;
    let mut free_mm3 = 0.0;
    for demand in demands {
        let Some(blend) = demand.blend else {
            free_mm3 += demand.volume_mm3;
            continue;
        };
        if let Some(before) = last
            && before != blend
            && free_mm3 < needed_mm3
            && let (Some(from), Some(to)) = (shares(before), shares(blend))
        {
            let (from, to) = (model.mix(from).to_lab(), model.mix(to).to_lab());
            count += usize::from(blend::ciede2000(from, to) > machine.flush.allowed_de00);
        }
        last = Some(blend);
        free_mm3 = 0.0;
    }
    count
}
