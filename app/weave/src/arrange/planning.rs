//! What is done with each section, and where the purge block stands.

use std::collections::{HashMap, HashSet};

use blend::Shares;

use super::block::{self, Block, Level};
use super::groups::Groups;
use super::habits::Habits;
use super::levels::{key, levels};
use super::order::{self, Wants};
use super::planned::{Arranged, Change, Doing, Facts, Job, Keeps, Planned, Purge, Purged};
use super::plate::Squares;
use super::sizing::Sizing;

/// The block may end below purges that are farther apart than this, mm.
const APART_MM: f64 = 1.0;

/// A gram of the block is worth so much of the mean ΔE00 (our rule, no source): less than a gram
/// purged at a change, for a block that is too small takes all changes beyond what is allowed.
const BLOCK_WORTH_DE00: f64 = 0.1;

/// So many ends are tried, from the top.
const MOST_ENDS: usize = 8;

/// What is not purged is sent ahead of its place, and less of it is seen than of a change that
/// begins there.
const AHEAD: f64 = 0.7;

/// How the plastic before a section ended.
#[derive(Clone, Copy, Debug)]
struct Entering {
    group: u32,
    top_mm: f64,
}

/// Decides what is done with each section.
pub(super) struct Planning<'a> {
    pub job: &'a Job<'a>,
    pub groups: Groups<'a>,
    pub blends: Vec<Shares>,
    pub facts: Vec<Facts>,
    pub habits: Habits,
}

impl Planning<'_> {
    pub(super) fn run(mut self, plate: &mut Squares) -> Planned {
        let wants: Vec<Wants> = self.facts.iter().map(|f| f.wants.clone()).collect();
        let orders = {
            let (groups, blends) = (&mut self.groups, &self.blends);
            order::orders(&wants, &mut |a, b| groups.need(blends, a, b))
        };
        let mut doing: Vec<Doing> = Vec::with_capacity(orders.len());
        let shared = self.shared_heights();
        let mut entering: Option<Entering> = None;
        for (index, order) in orders.into_iter().enumerate() {
            let top_mm = self.facts.get(index).map_or(0.0, |f| f.top_mm);
            let jump = entering.is_some_and(|e| {
                let heights = [e.top_mm, top_mm].map(key);
                heights[0] != heights[1] && heights.iter().all(|height| !shared.contains(height))
            });
            let changes = self.changes(index, &order, (entering, jump));
            let left = order.last().map(|group| Entering {
                group: *group,
                top_mm,
            });
            entering = left.or(entering);
            doing.push(Doing {
                order,
                changes,
                ..Doing::default()
            });
        }
        self.look_ahead(&mut doing);
        Sizing::new(&self.groups, &self.blends, &self.facts).run(&mut doing);
        let mut arranged = Arranged::default();
        for (facts, doing) in self.facts.iter().zip(&doing) {
            let several = facts.wants.groups.len() > 1;
            arranged.in_order += u64::from(several && facts.keeps == Keeps::All);
            arranged.reordered += u64::from(!doing.changes.is_empty());
            arranged.in_turn += match facts.wants.groups.len() {
                0 | 1 => doing.changes.iter().filter(|c| !c.smears).count() as u64,
                several => several as u64,
            };
        }
        let mut planned = Planned {
            facts: Vec::new(),
            doing,
            habits: self.habits,
            block: None,
            levels: Vec::new(),
            arranged,
        };
        if self.job.how.purge == Purge::Block {
            self.block(&mut planned, plate);
        }
        if planned.block.is_none() {
            for change in planned.doing.iter_mut().flat_map(|d| &mut d.changes) {
                change.purge_mm3 = 0.0;
            }
        }
        if planned.arranged.in_order > 0 {
            planned.arranged.cautions.push(format!(
                "{} layers with several blends keep their order: the first layer, layers that \
                 climb, and layers that bridge a gap and change back and forth",
                planned.arranged.in_order
            ));
        }
        self.count(&mut planned);
        planned.facts = self.facts;
        planned
    }

    /// Heights at which several blends are laid, by [`key`].
    fn shared_heights(&self) -> HashSet<i64> {
        let mut first: HashMap<i64, u32> = HashMap::new();
        let mut shared = HashSet::new();
        for facts in &self.facts {
            for group in &facts.wants.groups {
                let height = key(facts.top_mm);
                if *first.entry(height).or_insert(*group) != *group {
                    shared.insert(height);
                }
            }
        }
        shared
    }

    /// The changes of a section in an order, and how much nobody sees of each. Between two
    /// layers of one blend each there is a `jump`.
    fn changes(
        &mut self,
        index: usize,
        order: &[u32],
        (entering, jump): (Option<Entering>, bool),
    ) -> Vec<Change> {
        let Some(facts) = self.facts.get(index).cloned() else {
            return Vec::new();
        };
        if facts.keeps == Keeps::All {
            return Vec::new();
        }
        let mut found: Vec<Change> = Vec::new();
        let mut from = entering.map(|e| e.group);
        let mut needs = Vec::new();
        // Between two layers of one blend each the plan says whether there is a purge.
        let smears = jump && !self.job.asked.painted().plan().laying.purge_jumps;
        for (before, to) in order.iter().enumerate() {
            if let Some(from) = from {
                let need = self.groups.need(&self.blends, from, *to);
                if need > 0.0 {
                    let most_mm3 = self.groups.behind_mm3(&self.blends, (from, *to), need);
                    needs.push(need);
                    found.push(Change {
                        before,
                        from,
                        to: *to,
                        behind_mm3: facts.of(&facts.behind, *to).min(most_mm3),
                        smears,
                        ..Change::default()
                    });
                }
            }
            from = Some(*to);
        }
        let sum: f64 = needs.iter().sum();
        let hidden = sum.min(facts.wants.free_mm3);
        for (change, need) in found.iter_mut().zip(needs) {
            change.free_mm3 = hidden * need / sum;
        }
        // A section of several groups without a change worth a purge stays as it is.
        found
    }

    /// What follows each change up to the next: how much of it is seen while the chamber clears.
    fn look_ahead(&self, doing: &mut [Doing]) {
        let tank_mm3 = self.job.asked.painted().plan().machine.chamber.mixed_mm3;
        // From the end on; a change begins everything again.
        let mut after = [0.0; 3];
        for (facts, doing) in self.facts.iter().zip(doing).rev() {
            let before_mm3: f64 = doing.changes.iter().map(|c| c.free_mm3).sum();
            let mut more_mm3 = (facts.wants.free_mm3 - before_mm3).max(0.0);
            for (place, group) in doing.order.iter().enumerate().rev() {
                let change = doing.changes.iter_mut().find(|c| c.before == place);
                let skin_mm3 = facts.of(&facts.volumes, *group);
                let first_mm3 = change.as_ref().map_or(0.0, |c| c.behind_mm3);
                let behind_mm3 = facts.of(&facts.behind, *group) - first_mm3;
                after = passed(after, (skin_mm3, more_mm3 + behind_mm3), tank_mm3);
                more_mm3 = 0.0;
                if let Some(change) = change {
                    [change.seen_mm3, change.skin_mm3, change.lasts_mm3] = after;
                    after = [0.0; 3];
                }
            }
        }
    }

    /// Finds the block's size and place, and gives each section its part of it.
    fn block(&mut self, planned: &mut Planned, plate: &mut Squares) {
        let mut notes: Vec<String> = Vec::new();
        self.stand(planned, plate, &mut notes);
        planned.arranged.cautions.append(&mut notes);
    }

    fn stand(&mut self, planned: &mut Planned, plate: &mut Squares, notes: &mut Vec<String>) {
        let mut say = |text: String| notes.push(text);
        let Some(levels) = levels(&self.facts, &planned.doing, f64::INFINITY) else {
            say("Copies are printed one after another, so there is no purge block".to_owned());
            return;
        };
        if levels.is_empty() {
            return;
        }
        let plan = self.job.asked.painted().plan();
        let line_mm = 1.125 * plan.machine.nozzle_mm;
        let mut below = 0.0;
        for level in &levels {
            if level.top_mm - below > 0.85 * plan.machine.nozzle_mm {
                say(self.too_far_apart(below, level.top_mm));
                return;
            }
            below = level.top_mm;
        }
        let placed = self
            .tries(planned, &levels, line_mm)
            .into_iter()
            .find_map(|tried| {
                let low_mm = match self.job.how.block_at_mm {
                    Some(at) => Some(at),
                    None => block::place(plate, tried.side_mm, line_mm, self.job.how.bed_mm),
                };
                Some(Block {
                    low_mm: low_mm?,
                    side_mm: tried.side_mm,
                    top_mm: tried.top_mm,
                    line_mm,
                })
            });
        let Some(block) = placed else {
            say("There is no free place on the plate for a purge block".to_owned());
            return;
        };
        if self.job.how.block_at_mm.is_some() {
            let (low, high) = block.bounds_mm();
            if !plate.is_free(low, high) {
                say(
                    "The place given for the purge block is not free: nothing is purged".to_owned(),
                );
                return;
            }
        } else if self.job.how.bed_mm.is_none() {
            let ([x, y], side) = (block.low_mm, block.side_mm);
            say(format!(
                "A purge block is at x {x:.0} to {:.0}, y {y:.0} to {:.0} mm. The bed's size is \
                 unknown: check that this is on yours",
                x + side,
                y + side
            ));
        }
        self.give(planned, block);
    }

    /// Why no block can grow from one height to another, mm.
    fn too_far_apart(&self, below_mm: f64, top_mm: f64) -> String {
        let between = |facts: &&Facts| facts.top_mm > below_mm && facts.top_mm <= top_mm + 1e-3;
        let mut between = self.facts.iter().filter(between);
        match between.any(|facts| facts.keeps == Keeps::All) {
            true => format!(
                "The nozzle climbs all the time up to {top_mm:.2} mm, as in vase mode, so there \
                 is no purge block"
            ),
            false => format!(
                "The layers at {top_mm:.2} mm are too far apart for a purge block, so there is none"
            ),
        }
    }

    /// Gives each change its part of a block.
    fn give(&self, planned: &mut Planned, block: Block) {
        for (facts, doing) in self.facts.iter().zip(&mut planned.doing) {
            for change in &mut doing.changes {
                if facts.top_mm > block.top_mm + 1e-3 {
                    change.purge_mm3 = 0.0;
                }
            }
        }
        let Some(mut levels) = levels(&self.facts, &planned.doing, block.top_mm) else {
            return;
        };
        block.taper(&mut levels);
        let chamber = &self.job.asked.painted().plan().machine.chamber;
        let tank_mm3 = chamber.mixed_mm3.max(1e-9);
        let brim_mm3 = block.volume_mm3(levels.get(..1).unwrap_or_default())
            - levels.first().map_or(0.0, |l| block.layer_mm3(l, l.top_mm));
        let mut below = 0.0;
        for (number, level) in levels.iter_mut().enumerate() {
            let height_mm = level.top_mm - below;
            below = level.top_mm;
            let room = block.layer_mm3(level, height_mm);
            let laid_mm3 = room + if number == 0 { brim_mm3 } else { 0.0 };
            planned.arranged.block_mm3 += laid_mm3;
            planned.arranged.block_levels.push((level.top_mm, laid_mm3));
            let part = match level.purge_mm3 > 0.0 {
                // Half a line more or less is as near as lines come.
                true => (room / level.purge_mm3).min(1.05),
                false => 0.0,
            };
            let here: Vec<usize> = (0..self.facts.len())
                .filter(|i| self.of_level(*i, level.top_mm))
                .collect();
            for index in &here {
                if let Some(doing) = planned.doing.get_mut(*index) {
                    doing.level = Some((number, height_mm));
                    doing.closes = Some(index) == here.last();
                    if Some(index) == here.first() {
                        doing.opens_mm3 = (room - part * level.purge_mm3).max(0.0);
                    }
                    for change in &mut doing.changes {
                        let lacks_mm3 = change.purge_mm3 * (1.0 - part).max(0.0);
                        change.off_de00 *= (lacks_mm3 / tank_mm3).min(3.0).exp();
                        change.purge_mm3 *= part;
                    }
                }
            }
            level.purge_mm3 = room;
        }
        let spool = self.job.asked.painted().plan().spools.first();
        planned.arranged.block_g = spool.map_or(0.0, |s| s.mass_g(planned.arranged.block_mm3));
        planned.arranged.block = Some(block.clone());
        planned.block = Some(block);
        planned.levels = levels;
    }

    fn of_level(&self, index: usize, top_mm: f64) -> bool {
        let facts = self.facts.get(index);
        facts.is_some_and(|f| f.top_mm > 0.0 && (f.top_mm - top_mm).abs() < 1e-3)
    }

    /// Blocks to try, the best first: up to the last purge, or to an earlier one with those
    /// above left to smear, in all sides.
    fn tries(&self, planned: &Planned, all: &[Level], line_mm: f64) -> Vec<Tried> {
        let mut ends: Vec<f64> = all.last().map(|l| l.top_mm).into_iter().collect();
        let mut above: Option<f64> = None;
        for level in all.iter().rev().filter(|l| l.purge_mm3 > 0.0) {
            if above.is_some_and(|above| above - level.top_mm > APART_MM) {
                ends.push(level.top_mm);
            }
            above = Some(level.top_mm);
        }
        let mut found = Vec::new();
        for top_mm in ends.into_iter().take(MOST_ENDS) {
            let Some(mut levels) = levels(&self.facts, &planned.doing, top_mm) else {
                continue;
            };
            for side_mm in Block::sides(top_mm) {
                let block = Block {
                    low_mm: [0.0; 2],
                    side_mm,
                    top_mm,
                    line_mm,
                };
                block.taper(&mut levels);
                let widest_mm = levels.iter().map(|l| l.side_mm).fold(0.0, f64::max);
                found.push(Tried {
                    side_mm: widest_mm.min(side_mm),
                    top_mm,
                    cost: self.cost(&block, &levels, planned),
                });
            }
        }
        found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        found
    }

    /// What a block costs, in mean ΔE00: what is still seen of the changes, and its plastic.
    fn cost(&self, block: &Block, levels: &[Level], planned: &Planned) -> f64 {
        let plan = self.job.asked.painted().plan();
        let tank_mm3 = plan.machine.chamber.mixed_mm3;
        let skin_mm3: f64 = self.facts.iter().flat_map(|f| &f.volumes).sum();
        let mut takes: HashMap<i64, f64> = HashMap::new();
        let mut below = 0.0;
        for level in levels {
            let height_mm = level.top_mm - below;
            below = level.top_mm;
            if level.purge_mm3 > 0.0 {
                let room = block.layer_mm3(level, height_mm);
                takes.insert(key(level.top_mm), room / level.purge_mm3);
            }
        }
        let mut seen = 0.0;
        for (facts, doing) in self.facts.iter().zip(&planned.doing) {
            let part = takes.get(&key(facts.top_mm)).copied().unwrap_or(0.0);
            for change in doing.changes.iter().filter(|c| c.purge_mm3 > 0.0) {
                let smeared = || {
                    let whole = self.groups.smeared(&self.blends, change.from, change.to);
                    AHEAD * whole * change.skin_mm3 / change.lasts_mm3.max(1e-9)
                };
                let lacks_mm3 = change.purge_mm3 * (1.0 - part);
                let off = change.off_de00 * (lacks_mm3 / tank_mm3.max(1e-9)).min(20.0).exp();
                seen += match part > 0.0 {
                    true => (off * change.seen_mm3).min(smeared().max(change.off_de00)),
                    false => smeared(),
                };
            }
        }
        let grams = plan
            .spools
            .first()
            .map_or(0.0, |spool| spool.mass_g(block.volume_mm3(levels)));
        seen / skin_mm3.max(1.0) + BLOCK_WORTH_DE00 * grams
    }

    /// Counts what is purged, by direction.
    fn count(&self, planned: &mut Planned) {
        let arranged = &mut planned.arranged;
        for change in planned.doing.iter().flat_map(|d| &d.changes) {
            let pair = (
                self.blends.get(change.from as usize),
                self.blends.get(change.to as usize),
            );
            let (Some(from), Some(to)) = pair else {
                continue;
            };
            let hidden_mm3 = change.free_mm3 + change.behind_mm3;
            arranged.hidden_mm3 += hidden_mm3;
            arranged.needed_mm3 += hidden_mm3 + change.purge_mm3;
            arranged.least_mm3 += change.purge_mm3;
            let known = arranged
                .purges
                .iter_mut()
                .find(|p| p.from == *from && p.to == *to);
            match known {
                Some(purged) => {
                    purged.count += 1;
                    purged.hidden_mm3 += hidden_mm3;
                    purged.block_mm3 += change.purge_mm3;
                    purged.off_de00 += (change.off_de00 - purged.off_de00) / purged.count as f64;
                }
                None => arranged.purges.push(Purged {
                    from: *from,
                    to: *to,
                    count: 1,
                    hidden_mm3,
                    block_mm3: change.purge_mm3,
                    off_de00: change.off_de00,
                }),
            }
        }
        arranged.standing_mm3 = (arranged.block_mm3 - arranged.least_mm3).max(0.0);
        arranged
            .purges
            .sort_by(|a, b| b.block_mm3.total_cmp(&a.block_mm3));
    }
}

/// A block that was tried.
struct Tried {
    side_mm: f64,
    top_mm: f64,
    cost: f64,
}

/// What follows plastic, with the plastic itself: its skin as it is seen while the chamber
/// clears, its skin, all of it.
fn passed(after: [f64; 3], (skin_mm3, more_mm3): (f64, f64), tank_mm3: f64) -> [f64; 3] {
    let clears = |volume: f64| match tank_mm3 > 0.0 {
        true => (-volume / tank_mm3).exp(),
        false => 0.0,
    };
    let [seen, skin, lasts] = after;
    [
        tank_mm3 * (1.0 - clears(skin_mm3)) + seen * clears(skin_mm3 + more_mm3),
        skin + skin_mm3,
        lasts + skin_mm3 + more_mm3,
    ]
}
