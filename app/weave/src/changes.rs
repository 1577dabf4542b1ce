//! When to change the blend, so that the nozzle lays it where the toolpath asks for it.
//!
//! What the toolpath asks for is the same kind of list that a plan's schedule is laid out as,
//! so the same compensation serves both: commands are sent ahead of their place by the melt
//! chamber's lag, into plastic that is never seen where there is some, and fed beyond the aim
//! where that helps ([`plan::compensate`]).

use blend::{MixModel, Shares};
use plan::compensate::{Compensation, How, compensated, led};
use plan::delivery::{Commands, delivered};
use plan::economy::{Extrusion, Purpose, Stretch};
use plan::{Machine, Painted};

use super::short_runs;
use super::survey::{Demand, Survey};

/// Beyond so many stretches commands are sent ahead but not sharpened: least squares over
/// millions of changes would take longer than the print is worth.
const MOST_SHARPENED: usize = 4000;

/// Stretches are looked at in parts of about this volume, mm³.
const LOOK_MM3: f64 = 3.0;

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

impl Changes {
    /// Stretches that are printed in the blend around them, in words; none if there are none.
    pub(super) fn left_out_in_words(&self) -> Option<String> {
        let count = self.left_out;
        let (stretches, around) = match count {
            0 => return None,
            1 => (
                "1 stretch of another blend ends".to_owned(),
                "it is printed in the blend around it",
            ),
            _ => (
                format!("{count} stretches of another blend end"),
                "they are printed in the blend around them",
            ),
        };
        Some(format!(
            "{stretches} before the melt chamber has changed halfway; {around}. Make such regions \
             larger, or use fewer of them in one layer"
        ))
    }

    /// Changes that have too little room, in words; none if there are none.
    pub(super) fn hurried_in_words(&self) -> Option<String> {
        let count = self.hurried;
        let changes = match count {
            0 => return None,
            1 => "1 change of blend has too little hidden plastic before it".to_owned(),
            _ => format!("{count} changes of blend have too little hidden plastic before them"),
        };
        Some(format!(
            "{changes}, and nothing is purged. Use a purge block (`--purge block`); \
             `tintfall verify` shows where it matters"
        ))
    }
}

/// The changes that a survey asks for: as it asks, or without the stretches that are over before
/// their blend is half there, whichever comes nearer to what is asked.
///
/// Where there is a purge block, they have been given the room that they are worth, and stay.
pub(super) fn changes(survey: &Survey, painted: &Painted, purged: bool) -> Changes {
    let plan = painted.plan();
    let least = match purged {
        true => short_runs::A_TRACE,
        false => short_runs::HALF,
    };
    let (demands, left_out) = short_runs::without(survey, &plan.machine, painted.model(), least);
    let fewer = Changes {
        left_out,
        ..of_demands(&demands, survey, painted)
    };
    if left_out == 0 || survey.demands.len() > MOST_SHARPENED {
        return fewer;
    }
    let all = of_demands(&survey.demands, survey, painted);
    let off = |changes: &Changes| off_de00(survey, &changes.commands, painted);
    match off(&all) <= off(&fewer) {
        true => all,
        false => fewer,
    }
}

fn of_demands(demands: &[Demand], survey: &Survey, painted: &Painted) -> Changes {
    let plan = painted.plan();
    let extrusion = extrusion(demands, &survey.blends, plan.machine.nozzle_mm);
    let found = match (plan.laying.lead, extrusion.stretches.len()) {
        (false, _) => plain(Commands::plain(&extrusion, &plan.machine), How::Plain),
        (true, count) if count > MOST_SHARPENED => plain(
            led(&extrusion, &plan.machine, painted.model()),
            How::Shifted,
        ),
        (true, _) => of(compensated(&extrusion, &plan.machine, painted.model())),
    };
    Changes {
        hurried: hurried(demands, &survey.blends, &plan.machine, painted.model()),
        ..found
    }
}

/// The mean ΔE00 by volume of what commands lay, beside all that a survey asks for.
fn off_de00(survey: &Survey, commands: &Commands, painted: &Painted) -> f64 {
    let Some(start) = commands.start() else {
        return 0.0;
    };
    let chamber = &painted.plan().machine.chamber;
    let mut edges = vec![0.0];
    let mut wanted: Vec<Option<u32>> = Vec::new();
    let mut at = 0.0;
    for demand in &survey.demands {
        // Changes show most where a stretch begins.
        let parts = (demand.volume_mm3 / LOOK_MM3).ceil().clamp(1.0, 40.0);
        for part in 1..=parts as u32 {
            edges.push(at + demand.volume_mm3 * f64::from(part) / parts);
            wanted.push(demand.blend);
        }
        at += demand.volume_mm3;
    }
    let model = painted.model();
    let labs: Vec<blend::Lab> = survey
        .blends
        .iter()
        .map(|shares| model.mix(shares).to_lab())
        .collect();
    let laid = delivered(chamber, &start, &commands.feeds(), &edges);
    let (mut sum, mut volume) = (0.0, 0.0);
    for ((shares, blend), pair) in laid.iter().zip(&wanted).zip(edges.windows(2)) {
        let Some(lab) = blend.and_then(|b| labs.get(b as usize)) else {
            continue;
        };
        let part = pair.iter().rev().copied().reduce(|to, from| to - from);
        let part = part.unwrap_or(0.0);
        volume += part;
        sum += part * blend::ciede2000(model.mix(shares).to_lab(), *lab);
    }
    if volume > 0.0 { sum / volume } else { 0.0 }
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
