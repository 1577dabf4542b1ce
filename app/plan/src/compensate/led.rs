//! Commands sent ahead of their place, before any is sharpened.

use blend::{Lab, MixModel, ciede2000};

use crate::Machine;
use crate::delivery::{Change, Commands, changes};
use crate::economy::{ENOUGH_MM3, Extrusion, FlushTable, Lead, Sent, Settling};
use crate::machine::Chamber;

/// Commands sent ahead, and the changes that are seen while they happen.
pub(super) struct Led {
    lead: Option<Lead>,
    pub open: Vec<Change>,
    /// How many changes begin where the old blend was last seen.
    pub flushed: usize,
}

/// Steps in which a change is followed.
const STEPS: u32 = 24;

/// So far it is followed, in mixed volumes.
const FOLLOWED: f64 = 6.0;

/// What sharpening leaves of a change that has its middle at its place (as found on the
/// demonstration parts),
const SHARPENED: f64 = 0.6;

/// if it has less room than so many mixed volumes; with more there is little to sharpen.
const HALF: f64 = 0.5;

/// Whether less of a change is seen if it begins where the old blend is last seen, and not with
/// its middle at its place. What is seen is the ΔE00 of both blends, by their plastic.
fn begins_after(all: &[Change], index: usize, chamber: &Chamber, model: &dyn MixModel) -> bool {
    let Some(change) = all.get(index) else {
        return false;
    };
    let before = index.checked_sub(1).and_then(|i| all.get(i));
    let begun_mm3 = before.map_or(0.0, |c| c.seen_mm3);
    let ends_mm3 = all.get(index + 1).map_or(f64::INFINITY, |c| c.ends_mm3);
    let far_mm3 = FOLLOWED * chamber.mixed_mm3;
    let labs = [&change.from, &change.to].map(|shares| model.mix(shares).to_lab());
    let seen = |begins_mm3: f64| -> f64 {
        let sum = |from_mm3: f64, to_mm3: f64, wanted: Lab| -> f64 {
            let step_mm3 = (to_mm3 - from_mm3).max(0.0) / f64::from(STEPS);
            let off = |i: u32| {
                let passed = from_mm3 + step_mm3 * (f64::from(i) + 0.5) - begins_mm3;
                let rest = 1.0 - chamber.step_response(chamber.dead_mm3 + passed);
                ciede2000(
                    model.mix(&change.to.toward(&change.from, rest)).to_lab(),
                    wanted,
                )
            };
            (0..STEPS).map(|i| step_mm3 * off(i)).sum()
        };
        let old_from = begins_mm3.max(begun_mm3).min(change.ends_mm3);
        sum(old_from, change.ends_mm3, labs[0])
            + sum(
                change.seen_mm3,
                ends_mm3.min(change.seen_mm3 + far_mm3),
                labs[1],
            )
    };
    let ahead_mm3 = (change.seen_mm3 - change.ends_mm3).max(chamber.mixed_mm3);
    let gap_mm3 = change.seen_mm3 - change.ends_mm3;
    let part = match gap_mm3 > HALF * chamber.mixed_mm3 {
        true => 1.0,
        false => SHARPENED,
    };
    seen(change.ends_mm3) <= part * seen(change.seen_mm3 - ahead_mm3)
}

impl Led {
    /// Sends every change of an extrusion ahead: one that has room to settle unseen is begun
    /// where the old blend was last seen, any other one has its middle at its place.
    /// One that has some room unseen, but not enough, does what leaves less to be seen.
    pub(super) fn of(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Self {
        let mut table = FlushTable::new(machine, model, true);
        let mut led = Self {
            lead: None,
            open: Vec::new(),
            flushed: 0,
        };
        let all = changes(extrusion);
        for (index, change) in all.iter().copied().enumerate() {
            let (from, to) = (machine.fed(&change.from), machine.fed(&change.to));
            let Some(lead) = &mut led.lead else {
                led.lead = Some(Lead::new(machine, to));
                continue;
            };
            if from == to {
                continue;
            }
            let gap_mm3 = change.seen_mm3 - change.ends_mm3;
            match table.settling(&from, &to) {
                Some(settling)
                    if lead.needed_mm3(&settling, change.ends_mm3) <= gap_mm3 + ENOUGH_MM3 =>
                {
                    lead.flush(&settling, to, change.ends_mm3);
                    led.flushed += 1;
                }
                Some(settling)
                    if gap_mm3 > machine.least_between_changes_mm3()
                        && begins_after(&all, index, &machine.chamber, model) =>
                {
                    let within = Settling {
                        beyond_mm3: settling.beyond_mm3.min(gap_mm3),
                        volume_mm3: gap_mm3,
                        ..settling
                    };
                    lead.flush(&within, to, change.ends_mm3);
                    led.flushed += 1;
                }
                _ => {
                    lead.open(to, change.ends_mm3, change.seen_mm3);
                    led.open.push(change);
                }
            }
        }
        led
    }

    /// What is sent, in order.
    pub(super) fn sent(&self) -> &[Sent] {
        self.lead.as_ref().map_or(&[], Lead::sent)
    }

    /// As commands.
    pub(super) fn commands(&self, machine: &Machine) -> Commands {
        Commands::tidy(self.sent().iter().map(|s| s.command).collect(), machine)
    }
}
