//! What is done with each section, and where the purge block stands.

use std::collections::{HashMap, HashSet};

use blend::Shares;

use super::block::{self, Block, CARRYING, Level};
use super::groups::Groups;
use super::habits::Habits;
use super::order::{self, Wants};
use super::planned::{Arranged, Change, Doing, Facts, Job, Keeps, Planned, Purge};
use super::plate::Squares;

/// Parts of what a change asks for that are tried: less leaves more to be seen, and takes less.
const PARTS: [f64; 8] = [1.0, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.4];

/// A region counts as no less than this in a layer, mm³.
const LEAST_SEEN_MM3: f64 = 4.0;

/// A gram purged is worth so much of the mean ΔE00 (our rule: it weighs the block's size).
const WORTH_DE00: f64 = 0.02;

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
        let mut arranged = Arranged::default();
        let mut doing: Vec<Doing> = Vec::with_capacity(orders.len());
        let shared = self.shared_heights();
        let mut entering: Option<Entering> = None;
        for (index, order) in orders.into_iter().enumerate() {
            let top_mm = self.facts.get(index).map_or(0.0, |f| f.top_mm);
            let jump = entering.is_some_and(|e| {
                let heights = [e.top_mm, top_mm].map(key);
                heights[0] != heights[1] && heights.iter().all(|height| !shared.contains(height))
            });
            let changes = self.changes(index, &order, (entering, jump), &mut arranged);
            let left = order.last().map(|group| Entering {
                group: *group,
                top_mm,
            });
            entering = left.or(entering);
            doing.push(Doing {
                order,
                changes,
                level: None,
                closes: false,
            });
        }
        for (facts, doing) in self.facts.iter().zip(&doing) {
            let several = facts.wants.groups.len() > 1;
            arranged.in_order += u64::from(several && facts.keeps == Keeps::All);
            arranged.reordered += u64::from(!doing.changes.is_empty());
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
            self.weigh(&mut planned);
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
        arranged: &mut Arranged,
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
        let plan = self.job.asked.painted().plan();
        let smears = jump && !plan.laying.purge_jumps;
        let tank_mm3 = plan.machine.chamber.mixed_mm3;
        for (before, to) in order.iter().enumerate() {
            if let Some(from) = from {
                let need = self.groups.need(&self.blends, from, *to);
                if need > 0.0 {
                    let seen = facts.wants.groups.iter().zip(&facts.volumes);
                    needs.push(need);
                    found.push(Change {
                        before,
                        from,
                        to: *to,
                        free_mm3: 0.0,
                        purge_mm3: 0.0,
                        // The layers above a jump have its blend as well.
                        seen_mm3: match jump {
                            true => tank_mm3,
                            false => seen
                                .filter(|(group, _)| *group == to)
                                .map(|(_, volume)| *volume)
                                .sum(),
                        },
                    });
                }
            }
            from = Some(*to);
        }
        let sum: f64 = needs.iter().sum();
        let hidden = sum.min(facts.wants.free_mm3);
        arranged.needed_mm3 += if smears { hidden } else { sum };
        arranged.hidden_mm3 += hidden;
        for (change, need) in found.iter_mut().zip(needs) {
            change.free_mm3 = hidden * need / sum;
            change.purge_mm3 = match smears {
                true => 0.0,
                false => need - change.free_mm3,
            };
        }
        // A section of several groups without a change worth a purge stays as it is.
        found
    }

    /// Finds the block's size and place, and gives each section its part of it.
    fn block(&mut self, planned: &mut Planned, plate: &mut Squares) {
        let mut notes: Vec<String> = Vec::new();
        self.stand(planned, plate, &mut notes);
        planned.arranged.cautions.append(&mut notes);
    }

    fn stand(&mut self, planned: &mut Planned, plate: &mut Squares, notes: &mut Vec<String>) {
        let mut say = |text: String| notes.push(text);
        let Some(mut levels) = levels(&self.facts, &planned.doing) else {
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
                say(format!(
                    "The layers at {:.2} mm are too far apart for a purge block, so there is none",
                    level.top_mm
                ));
                return;
            }
            below = level.top_mm;
        }
        let top_mm = levels.last().map_or(0.0, |l| l.top_mm);
        let mut tries: Vec<(f64, f64)> = Block::sides(top_mm)
            .map(|side_mm| {
                let block = Block {
                    low_mm: [0.0; 2],
                    side_mm,
                    top_mm,
                    line_mm,
                };
                (side_mm, self.cost(&block, &levels, planned))
            })
            .collect();
        tries.sort_by(|a, b| a.1.total_cmp(&b.1));
        let placed = tries.into_iter().find_map(|(side_mm, _)| {
            let low_mm = match self.job.how.block_at_mm {
                Some(at) => Some(at),
                None => block::place(plate, side_mm, line_mm, self.job.how.bed_mm),
            };
            Some(Block {
                low_mm: low_mm?,
                side_mm,
                top_mm,
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
        // Each change gets its part of what its layer can take.
        let mut below = 0.0;
        for (number, level) in levels.iter_mut().enumerate() {
            let height_mm = level.top_mm - below;
            below = level.top_mm;
            let room = block.layer_mm3(level, height_mm);
            planned.arranged.block_mm3 += room;
            let part = match level.purge_mm3 > 0.0 {
                true => room / level.purge_mm3,
                false => 0.0,
            };
            let here: Vec<usize> = (0..self.facts.len())
                .filter(|i| self.of_level(*i, level.top_mm))
                .collect();
            for index in &here {
                if let Some(doing) = planned.doing.get_mut(*index) {
                    doing.level = Some((number, height_mm));
                    doing.closes = Some(index) == here.last();
                    for change in &mut doing.changes {
                        change.purge_mm3 *= part;
                    }
                }
            }
            level.purge_mm3 = room;
        }
        let spool = plan.spools.first();
        planned.arranged.block_g = spool.map_or(0.0, |s| s.mass_g(planned.arranged.block_mm3));
        planned.arranged.block = Some(block.clone());
        planned.block = Some(block);
        planned.levels = levels;
    }

    fn of_level(&self, index: usize, top_mm: f64) -> bool {
        let facts = self.facts.get(index);
        facts.is_some_and(|f| f.top_mm > 0.0 && (f.top_mm - top_mm).abs() < 1e-3)
    }

    /// What is seen of a change after so much was purged, mm³ ΔE00. A small region counts as if
    /// it were larger: it is what the part was painted for.
    fn seen_of(&self, change: &Change, purged_mm3: f64) -> f64 {
        let tank_mm3 = self.job.asked.painted().plan().machine.chamber.mixed_mm3;
        let seen_mm3 = change
            .seen_mm3
            .clamp(LEAST_SEEN_MM3, tank_mm3.max(LEAST_SEEN_MM3));
        // It fades on while it is laid.
        let passed = change.free_mm3 + purged_mm3 + 0.25 * change.seen_mm3.min(tank_mm3);
        self.groups.left_de00(&self.blends, change, passed) * seen_mm3
    }

    /// Purges no more for a change than it is worth.
    fn weigh(&self, planned: &mut Planned) {
        let seen_mm3: f64 = self.facts.iter().flat_map(|f| &f.volumes).sum();
        let spools = &self.job.asked.painted().plan().spools;
        let g_mm3 = spools.first().map_or(0.0, |spool| spool.mass_g(1.0));
        for change in planned.doing.iter_mut().flat_map(|d| &mut d.changes) {
            let cost = |part: &f64| {
                let purged_mm3 = part * change.purge_mm3;
                self.seen_of(change, purged_mm3) / seen_mm3.max(1.0)
                    + WORTH_DE00 * g_mm3 * purged_mm3
            };
            let best = PARTS.iter().min_by(|a, b| cost(a).total_cmp(&cost(b)));
            change.purge_mm3 *= best.copied().unwrap_or(1.0);
        }
    }

    /// What a block costs, in mean ΔE00: what is still seen of the changes, and its plastic.
    fn cost(&self, block: &Block, levels: &[Level], planned: &Planned) -> f64 {
        let seen_mm3: f64 = self.facts.iter().flat_map(|f| &f.volumes).sum();
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
            for change in &doing.changes {
                seen += self.seen_of(change, change.purge_mm3 * part);
            }
        }
        let plan = self.job.asked.painted().plan();
        let grams = plan
            .spools
            .first()
            .map_or(0.0, |spool| spool.mass_g(block.volume_mm3(levels)));
        seen / seen_mm3.max(1.0) + WORTH_DE00 * grams
    }
}

fn key(top_mm: f64) -> i64 {
    (top_mm / 1e-3).round() as i64
}

/// The heights that a block grows through, up to the last that needs it; `None` if the print
/// comes down again.
fn levels(facts: &[Facts], doing: &[Doing]) -> Option<Vec<Level>> {
    let mut found: Vec<Level> = Vec::new();
    for (facts, doing) in facts.iter().zip(doing) {
        if facts.top_mm <= 0.0 {
            continue;
        }
        let purge_mm3: f64 = doing.changes.iter().map(|c| c.purge_mm3).sum();
        let last_mm = found.last().map_or(0.0, |l| l.top_mm);
        if facts.top_mm > last_mm + 1e-3 {
            found.push(Level {
                top_mm: facts.top_mm,
                purge_mm3,
                carries: false,
            });
        } else if facts.top_mm < last_mm - 1e-3 {
            return None;
        } else if let Some(last) = found.last_mut() {
            last.purge_mm3 += purge_mm3;
        }
    }
    while found.last().is_some_and(|l| l.purge_mm3 <= 0.0) {
        found.pop();
    }
    let takes: Vec<bool> = found.iter().map(|l| l.purge_mm3 > 0.0).collect();
    for (index, level) in found.iter_mut().enumerate() {
        let above = takes.iter().skip(index).take(CARRYING + 1);
        level.carries = above.into_iter().any(|takes| *takes);
    }
    Some(found)
}
