//! What is done with each section, and where the purge block stands.

use std::collections::{HashMap, HashSet};

use blend::Shares;

use super::groups::Groups;
use super::habits::Habits;
use super::levels::key;
use super::order::{self, Wants};
use super::planned::{Arranged, Change, Doing, Facts, Job, Keeps, Planned, Purge, Purged};
use super::plates::Plates;
use super::sizing::Sizing;

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
    pub(super) fn run(mut self, plates: &Plates) -> Planned {
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
            standing: Vec::new(),
            arranged,
        };
        match self.job.how.purge {
            Purge::Block => self.stand(&mut planned, plates),
            _ => without_purge(&mut planned.doing),
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

/// What no block takes is not purged.
pub(super) fn without_purge(doing: &mut [Doing]) {
    for change in doing.iter_mut().flat_map(|d| &mut d.changes) {
        change.purge_mm3 = 0.0;
    }
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
