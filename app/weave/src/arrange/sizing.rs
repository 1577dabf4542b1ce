//! How much is purged at each change: as little as what is allowed to be seen asks for.
//!
//! The blend in the chamber is followed from change to change, so that a blend that was never
//! reached in full is not purged as if it had been. At each change it is weighed what more
//! plastic is worth: 95 % of the skin must come out within what is allowed, and of the rest
//! that part is left farther off which saves most.

use std::collections::HashMap;

use blend::{Shares, ciede2000};
use plan::economy::FlushTable;

use super::groups::Groups;
use super::planned::{Change, Doing, Facts};
use crate::behind::largest;

/// How far off a change may leave its blend, in parts of what is allowed.
const GRADES: [f64; 11] = [0.5, 0.65, 0.8, 1.0, 1.2, 1.4, 1.7, 2.0, 2.4, 2.8, 3.2];

/// Parts of what is allowed that are tried, until little enough is seen on the whole.
const TIGHTER: [f64; 4] = [1.0, 0.8, 0.65, 0.5];

/// So much of all changes may be seen on the whole, in parts of what is allowed at each: with
/// the usual allowance a mean ΔE00 of 0.6, and something is off for other reasons.
const WHOLE: f64 = 0.22;

/// A small region's changes are left no farther off than so many times what is allowed: it is
/// what the part was painted for.
const SMALL: f64 = 2.0;

/// and no farther than this, ΔE00, unless that is allowed: another colour at a glance.
const SMALL_DE00: f64 = 6.0;

/// A region counts as small in a layer below this, mm³, and as no less than this.
const LEAST_SEEN_MM3: f64 = 4.0;

/// Part of the skin that may be left farther off than is allowed: with small regions, and with
/// what is smeared, a twentieth is.
const EXCUSED: f64 = 0.012;

/// A gram purged is worth so much of the mean ΔE00 (our rule, no source: a part of a few grams
/// of purge then stays below a mean of 0.8).
const WORTH_DE00: f64 = 0.3;

/// One grade of one pair of blends: what has to pass, and what is left of the old one.
#[derive(Clone, Copy, Debug)]
struct Grade {
    de00: f64,
    needs_mm3: f64,
    rest: f64,
}

/// Sizes purges, change by change.
pub(super) struct Sizing<'a, 'b> {
    groups: &'a Groups<'b>,
    blends: &'a [Shares],
    /// All skin, mm³.
    skin_mm3: f64,
    g_mm3: f64,
    /// Part of what is allowed that is used.
    part: f64,
    known: HashMap<(u32, u32), Vec<Grade>>,
}

impl<'a, 'b> Sizing<'a, 'b> {
    pub(super) fn new(groups: &'a Groups<'b>, blends: &'a [Shares], facts: &[Facts]) -> Self {
        let spools = &groups.painted().plan().spools;
        Self {
            groups,
            blends,
            skin_mm3: facts.iter().flat_map(|f| &f.volumes).sum::<f64>().max(1.0),
            g_mm3: spools.first().map_or(0.0, |spool| spool.mass_g(1.0)),
            part: 1.0,
            known: HashMap::new(),
        }
    }

    /// Gives each change its purge.
    pub(super) fn run(&mut self, doing: &mut [Doing]) {
        for part in TIGHTER {
            self.part = part;
            self.settle(doing);
            let seen: f64 = changes(doing).map(|c| c.off_de00 * c.seen_mm3).sum();
            if seen / self.skin_mm3 <= WHOLE * self.groups.allow_de00() {
                break;
            }
        }
    }

    /// First each as it is best alone, then with the farthest off brought within what is
    /// allowed until the rest is few enough.
    fn settle(&mut self, doing: &mut [Doing]) {
        self.pass(doing, |_| true);
        let mut far: Vec<(f64, usize, f64)> = Vec::new();
        for (index, change) in changes(doing).enumerate() {
            if change.off_de00 > self.groups.allow_de00() + 1e-9 && !change.smears {
                let seen_mm3 = self.beyond_mm3(change).max(1e-6);
                far.push((change.saves_mm3 / seen_mm3, index, seen_mm3));
            }
        }
        far.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut left_mm3 = EXCUSED * self.skin_mm3;
        let mut excused: Vec<usize> = Vec::new();
        for (_, index, seen_mm3) in far {
            if seen_mm3 <= left_mm3 {
                left_mm3 -= seen_mm3;
                excused.push(index);
            }
        }
        excused.sort_unstable();
        self.pass(doing, |index| excused.binary_search(&index).is_ok());
    }

    fn pass(&mut self, doing: &mut [Doing], excused: impl Fn(usize) -> bool) {
        let next: Vec<Option<u32>> = {
            let all: Vec<u32> = changes(doing).map(|c| c.to).collect();
            (0..all.len()).map(|i| all.get(i + 1).copied()).collect()
        };
        let mut held: Option<Shares> = None;
        for (index, change) in doing.iter_mut().flat_map(|d| &mut d.changes).enumerate() {
            let next = next.get(index).copied().flatten();
            held = self.size(change, held, next, excused(index)).or(held);
        }
    }

    /// Sizes one change, and gives what the chamber holds after it.
    fn size(
        &mut self,
        change: &mut Change,
        held: Option<Shares>,
        next: Option<u32>,
        excused: bool,
    ) -> Option<Shares> {
        let from = *self.blends.get(change.from as usize)?;
        let to = *self.blends.get(change.to as usize)?;
        let held = held.unwrap_or(from);
        let chamber = self.groups.painted().plan().machine.chamber;
        let tank_mm3 = chamber.mixed_mm3;
        // What is held may be nearer to the new blend than the old one ever was.
        let nearer = tank_mm3 * ratio(held.distance(&to), from.distance(&to)).ln();
        let room_mm3 = change.free_mm3 + change.behind_mm3;
        let small = change.seen_mm3 < LEAST_SEEN_MM3;
        let seen_mm3 = change.seen_mm3.max(LEAST_SEEN_MM3);
        let next = next
            .and_then(|next| self.blends.get(next as usize))
            .copied();
        let allow_de00 = self.groups.allow_de00();
        let most_de00 = match (small, excused) {
            (true, _) => (SMALL * allow_de00).min(SMALL_DE00.max(allow_de00)),
            (false, true) => f64::INFINITY,
            (false, false) => self.part * allow_de00,
        };
        let least_de00 = self.part * allow_de00;
        let (skin_mm3, g_mm3) = (self.skin_mm3, self.g_mm3);
        let grades = self.grades(change.from, change.to);
        let first = grades
            .iter()
            .find(|grade| grade.de00 >= least_de00 - 1e-9)
            .copied()?;
        let purge = |grade: &Grade| (grade.needs_mm3 + nearer - room_mm3).max(0.0);
        let cost = |grade: &Grade| {
            let after = to.toward(&from, grade.rest);
            // A blend that is not reached in full is left sooner.
            let later = next.map_or(0.0, |next| {
                tank_mm3 * ratio(after.distance(&next), to.distance(&next)).ln()
            });
            grade.de00 * seen_mm3 / skin_mm3 + WORTH_DE00 * g_mm3 * (purge(grade) + later)
        };
        let best = grades
            .iter()
            .filter(|grade| grade.de00 >= least_de00 - 1e-9 && grade.de00 <= most_de00 + 1e-9)
            .min_by(|a, b| cost(a).total_cmp(&cost(b)))
            .copied()
            .unwrap_or(first);
        change.purge_mm3 = if change.smears { 0.0 } else { purge(&best) };
        change.saves_mm3 = (purge(&first) - purge(&best)).max(0.0);
        // What passes beyond the need clears further.
        let more_mm3 = (room_mm3 + change.purge_mm3 - best.needs_mm3 - nearer).max(0.0);
        let rest = 1.0 - chamber.step_response(chamber.dead_mm3 + more_mm3);
        let settled = to.toward(&from, best.rest * rest);
        let model = self.groups.painted().model();
        change.off_de00 = ciede2000(model.mix(&settled).to_lab(), model.mix(&to).to_lab());
        // Until the next change it clears on.
        let on = 1.0 - chamber.step_response(chamber.dead_mm3 + change.lasts_mm3);
        Some(to.toward(&settled, on))
    }

    /// The skin of a change that is farther off than is allowed, mm³.
    fn beyond_mm3(&self, change: &Change) -> f64 {
        let tank_mm3 = self.groups.painted().plan().machine.chamber.mixed_mm3;
        let passes_mm3 = tank_mm3 * ratio(change.off_de00, self.groups.allow_de00()).ln();
        let share = passes_mm3 / change.lasts_mm3.max(1e-9);
        change.skin_mm3 * share.clamp(0.0, 1.0)
    }

    fn grades(&mut self, from: u32, to: u32) -> &[Grade] {
        let (blends, groups) = (self.blends, self.groups);
        self.known.entry((from, to)).or_insert_with(|| {
            let pair = (blends.get(from as usize), blends.get(to as usize));
            let (Some(from), Some(to)) = pair else {
                return Vec::new();
            };
            GRADES
                .iter()
                .map(|part| grade(groups, from, to, part * groups.allow_de00()))
                .collect()
        })
    }
}

fn grade(groups: &Groups<'_>, from: &Shares, to: &Shares, de00: f64) -> Grade {
    let (model, plan) = (groups.painted().model(), groups.painted().plan());
    let wanted = model.mix(to).to_lab();
    let off = |rest: f64| ciede2000(model.mix(&to.toward(from, rest)).to_lab(), wanted);
    let needs_mm3 = FlushTable::new(&plan.machine, model, plan.laying.lead)
        .allowing(de00)
        .volume_mm3(from, to);
    Grade {
        de00,
        needs_mm3,
        rest: largest(|rest| off(rest) <= de00),
    }
}

fn changes(doing: &[Doing]) -> impl Iterator<Item = &Change> {
    doing.iter().flat_map(|d| &d.changes)
}

/// A quotient of lengths, kept from nothing.
fn ratio(of: f64, by: f64) -> f64 {
    (of.max(1e-9) / by.max(1e-9)).clamp(1e-6, 1e6)
}
