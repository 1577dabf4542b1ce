//! Short stretches of another blend that the melt chamber would only smear.
//!
//! A stirred chamber answers a short pulse of a blend with a long, weak one. Where a stretch is
//! over before its blend would be half there, feeding it colours its surroundings more than
//! itself, so it is laid in the blend about it. Steps of a fade are no pulses: they are short,
//! but lead on to what comes next.

use blend::{Lab, MixModel, ciede2000};
use plan::Machine;

use super::survey::{Demand, SLIVER_MM3, Survey};

/// Which pulses are left out.
#[derive(Clone, Copy, Debug)]
pub(super) struct LeftOut {
    /// Those whose blend is not there by this part at their end,
    reached: f64,
    /// and slivers of less than this, mm³.
    sliver_mm3: f64,
}

/// A blend that is not half there at its end is left out.
pub(super) const HALF: LeftOut = LeftOut {
    reached: 0.5,
    sliver_mm3: 0.0,
};

/// Where there is a purge block, what is purged for a stretch was weighed already. What is left
/// over has no room at all, or is a sliver of less than half a millimetre that was not cut off.
pub(super) const A_TRACE: LeftOut = LeftOut {
    reached: 0.2,
    sliver_mm3: SLIVER_MM3,
};

/// A survey's demands without the pulses, and how many those were.
pub(super) fn without(
    survey: &Survey,
    machine: &Machine,
    model: &dyn MixModel,
    rule: LeftOut,
) -> (Vec<Demand>, usize) {
    let labs: Vec<Lab> = survey
        .blends
        .iter()
        .map(|shares| model.mix(shares).to_lab())
        .collect();
    let mut demands = survey.demands.clone();
    let mut left_out = 0;
    loop {
        let dropped = pass(&mut demands, machine, &labs, rule);
        if dropped == 0 {
            return (demands, left_out);
        }
        left_out += dropped;
    }
}

/// A stretch that is seen: where it is in the list, its blend, its volume, and the volume that
/// is not seen before it.
struct Seen {
    index: usize,
    blend: u32,
    volume_mm3: f64,
    free_mm3: f64,
}

/// Drops the pulses that are no longer than either of their neighbours. Longer ones may be the
/// surroundings of shorter ones, and wait for the next pass.
fn pass(demands: &mut Vec<Demand>, machine: &Machine, labs: &[Lab], rule: LeftOut) -> usize {
    let seen = seen(demands);
    let mut dropped = 0;
    let mut last_index = None;
    for three in seen.windows(3) {
        let [before, pulse, after] = three else {
            continue;
        };
        // The one before was just dropped: its volume is not what it was.
        if last_index == Some(before.index)
            || !is_pulse([before, pulse, after], machine, labs, rule)
        {
            continue;
        }
        if let Some(demand) = demands.get_mut(pulse.index) {
            demand.blend = Some(before.blend);
            dropped += 1;
            last_index = Some(pulse.index);
        }
    }
    if dropped > 0 {
        *demands = joined(demands);
    }
    dropped
}

fn seen(demands: &[Demand]) -> Vec<Seen> {
    let mut found = Vec::new();
    let mut free_mm3 = 0.0;
    for (index, demand) in demands.iter().enumerate() {
        match demand.blend {
            None => free_mm3 += demand.volume_mm3,
            Some(blend) => {
                found.push(Seen {
                    index,
                    blend,
                    volume_mm3: demand.volume_mm3,
                    free_mm3,
                });
                free_mm3 = 0.0;
            }
        }
    }
    found
}

fn is_pulse(
    [before, pulse, after]: [&Seen; 3],
    machine: &Machine,
    labs: &[Lab],
    rule: LeftOut,
) -> bool {
    let shorter = pulse.volume_mm3 <= before.volume_mm3 && pulse.volume_mm3 <= after.volume_mm3;
    let chamber = &machine.chamber;
    let room_mm3 = pulse.free_mm3 + pulse.volume_mm3;
    let reached = chamber.step_response(chamber.dead_mm3 + room_mm3);
    let left_out = reached < rule.reached || pulse.volume_mm3 < rule.sliver_mm3;
    if !shorter || !left_out {
        return false;
    }
    let apart = |a: &Seen, b: &Seen| {
        let lab = |s: &Seen| labs.get(s.blend as usize).copied();
        match (lab(a), lab(b)) {
            (Some(a), Some(b)) => ciede2000(a, b),
            _ => 0.0,
        }
    };
    let around = apart(before, after);
    around < apart(before, pulse) && around < apart(pulse, after)
}

/// Neighbours of one blend as one, with what is not seen between them.
fn joined(demands: &[Demand]) -> Vec<Demand> {
    let mut joined: Vec<Demand> = Vec::with_capacity(demands.len());
    for demand in demands {
        demand.add_to(&mut joined);
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::{LinearLight, Shares, Spool, SpoolColour, Srgb};

    fn survey(demands: &[(Option<u32>, f64)]) -> Survey {
        let share = |first: f64| Shares::new(&[first, 1.0 - first]).expect("shares");
        Survey {
            demands: demands
                .iter()
                .map(|(blend, volume_mm3)| Demand {
                    volume_mm3: *volume_mm3,
                    blend: *blend,
                    height_mm: 0.2,
                })
                .collect(),
            blends: (0..=10).map(|i| share(f64::from(i) / 10.0)).collect(),
            ..Survey::default()
        }
    }

    fn run(demands: &[(Option<u32>, f64)]) -> (Vec<(Option<u32>, f64)>, usize) {
        let spool = |code| Spool::new("x", SpoolColour::Hex(Srgb(code)));
        let model = LinearLight::new(&[spool([200, 30, 30]), spool([245, 245, 240])]);
        let (found, dropped) = without(&survey(demands), &Machine::default(), &model, HALF);
        let pairs = found.iter().map(|d| (d.blend, d.volume_mm3)).collect();
        (pairs, dropped)
    }

    #[test]
    fn a_spot_in_every_layer_is_left_out_and_a_side_is_not() {
        let spots = [
            (Some(0), 10.0),
            (Some(10), 0.5),
            (Some(0), 12.0),
            (None, 8.0),
            (Some(0), 11.0),
            (Some(10), 0.4),
            (Some(0), 12.0),
        ];
        assert_eq!(run(&spots), (vec![(Some(0), 53.9)], 2));
        let side = [(Some(0), 40.0), (Some(10), 40.0), (Some(0), 40.0)];
        assert_eq!(run(&side), (side.to_vec(), 0));
        // Half there in 30 ln 2 = 20.8 mm³, some of which may be what nobody sees.
        let room = [
            (Some(0), 40.0),
            (None, 19.0),
            (Some(10), 2.0),
            (Some(0), 40.0),
        ];
        assert_eq!(run(&room), (room.to_vec(), 0));
    }

    #[test]
    fn short_steps_of_a_fade_stay() {
        let fade: Vec<(Option<u32>, f64)> = (0..=10).map(|i| (Some(i), 3.0)).collect();
        assert_eq!(run(&fade), (fade.clone(), 0));
    }
}
