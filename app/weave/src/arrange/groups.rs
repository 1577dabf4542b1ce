//! Blends that are as good as one, and what has to pass between two that are not.

use std::collections::HashMap;

use blend::{Lab, Shares, ciede2000};
use plan::Painted;
use plan::economy::FlushTable;

use super::atoms;
use super::order::{self, Wants};
use super::planned::{ALLOW_DE00, Facts, Keeps};
use super::sections::Section;
use crate::behind::{Behind, CALM_DE00};

/// Blends that are as good as one, and what lies between two that are not.
pub(super) struct Groups<'a> {
    painted: &'a Painted,
    table: FlushTable<'a>,
    allow_de00: f64,
    labs: Vec<Lab>,
    needs: HashMap<(u32, u32), f64>,
    behind: Behind<'a>,
}

impl<'a> Groups<'a> {
    pub(super) fn new(painted: &'a Painted, allow_de00: Option<f64>) -> Self {
        let machine = &painted.plan().machine;
        let allow_de00 = allow_de00.unwrap_or(ALLOW_DE00);
        Self {
            painted,
            table: FlushTable::new(machine, painted.model(), true).allowing(allow_de00),
            allow_de00,
            labs: Vec::new(),
            needs: HashMap::new(),
            behind: Behind::new(painted),
        }
    }

    fn learn(&mut self, blends: &[Shares]) {
        let model = self.painted.model();
        let new = blends.get(self.labs.len()..).unwrap_or_default();
        self.labs.extend(new.iter().map(|s| model.mix(s).to_lab()));
    }

    fn apart(&self, a: u32, b: u32) -> f64 {
        match (self.labs.get(a as usize), self.labs.get(b as usize)) {
            (Some(a), Some(b)) => ciede2000(*a, *b),
            _ => 0.0,
        }
    }

    /// Plastic between two blends, mm³.
    pub(super) fn need(&mut self, blends: &[Shares], from: u32, to: u32) -> f64 {
        if from == to || self.apart(from, to) <= CALM_DE00 {
            return 0.0;
        }
        if let Some(known) = self.needs.get(&(from, to)) {
            return *known;
        }
        let need = match (blends.get(from as usize), blends.get(to as usize)) {
            (Some(a), Some(b)) => self.table.volume_mm3(a, b),
            _ => 0.0,
        };
        self.needs.insert((from, to), need);
        need
    }

    pub(super) fn painted(&self) -> &'a Painted {
        self.painted
    }

    pub(super) fn allow_de00(&self) -> f64 {
        self.allow_de00
    }

    /// What of a blend's own plastic may be laid behind its skin before all that a change needs
    /// has passed, mm³.
    pub(super) fn behind_mm3(
        &mut self,
        blends: &[Shares],
        (from, to): (u32, u32),
        need: f64,
    ) -> f64 {
        (need - self.behind.room_mm3(blends, from, to)).max(0.0)
    }

    /// How far two blends are apart, ΔE00, and the sum of what is seen of the one in the other
    /// while the chamber changes, mm³ ΔE00.
    pub(super) fn smeared(&self, blends: &[Shares], from: u32, to: u32) -> f64 {
        const PARTS: u32 = 40;
        let (Some(from), Some(to)) = (blends.get(from as usize), blends.get(to as usize)) else {
            return 0.0;
        };
        let chamber = &self.painted.plan().machine.chamber;
        let model = self.painted.model();
        let wanted = model.mix(to).to_lab();
        let part_mm3 = 8.0 * chamber.mixed_mm3 / f64::from(PARTS);
        let sum = (0..PARTS).map(|i| {
            let passed = part_mm3 * (f64::from(i) + 0.5);
            let rest = 1.0 - chamber.step_response(chamber.dead_mm3 + passed);
            part_mm3 * ciede2000(model.mix(&to.toward(from, rest)).to_lab(), wanted)
        });
        sum.sum()
    }

    /// A section's facts: its blends put into groups, no more than can be tried in every order.
    pub(super) fn facts(
        &mut self,
        section: &Section,
        asked: &atoms::Asked,
        blends: &[Shares],
        mut keeps: Keeps,
    ) -> Facts {
        self.learn(blends);
        let mut by_volume = asked.blends.clone();
        by_volume.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut tolerance = self.allow_de00.max(1.0);
        let mut group_of: Vec<(u32, u32)>;
        let mut groups: Vec<(u32, f64)>;
        loop {
            group_of = Vec::with_capacity(by_volume.len());
            groups = Vec::new();
            for (blend, volume) in &by_volume {
                let near = groups
                    .iter_mut()
                    .find(|(group, _)| self.apart(*group, *blend) <= tolerance);
                let group = match near {
                    Some((group, sum)) => {
                        *sum += volume;
                        *group
                    }
                    None => {
                        groups.push((*blend, *volume));
                        *blend
                    }
                };
                group_of.push((*blend, group));
            }
            if groups.len() <= order::MOST_GROUPS {
                break;
            }
            tolerance *= 1.5;
        }
        // In the file's order, which some sections keep.
        let mut ordered: Vec<u32> = Vec::new();
        let mut again = false;
        for blend in &asked.order {
            let group = group_in(&group_of, *blend);
            if ordered.last() != Some(&group) {
                again |= ordered.contains(&group);
                ordered.push(group);
            }
        }
        // Back and forth by turns: no room for a purge at each.
        if again && keeps == Keeps::Order {
            keeps = Keeps::All;
        }
        if keeps == Keeps::Nothing {
            let mut seen: Vec<u32> = Vec::new();
            ordered.retain(|group| {
                let new = !seen.contains(group);
                seen.push(*group);
                new
            });
        } else if again {
            // The ends alone count for the sections before and after.
            let ends = (ordered.first().copied(), ordered.last().copied());
            ordered = ends.0.into_iter().chain(ends.1).collect();
            ordered.dedup();
        }
        let fixed = keeps != Keeps::Nothing;
        let volume = |group: &u32| {
            let found = groups.iter().find(|(known, _)| known == group);
            found.map_or(0.0, |(_, volume)| *volume)
        };
        let behind = |group: &u32| -> [f64; 2] {
            let mut sums = [0.0; 2];
            for (blend, all, first) in &asked.behind {
                if group_in(&group_of, *blend) == *group {
                    sums[0] += all;
                    sums[1] += first;
                }
            }
            sums
        };
        Facts {
            top_mm: section.top_mm,
            volumes: ordered
                .iter()
                .map(|group| (volume(group) - behind(group)[0]).max(0.0))
                .collect(),
            behind: ordered
                .iter()
                .map(|group| if fixed { 0.0 } else { behind(group)[1] })
                .collect(),
            wants: Wants {
                groups: ordered,
                free_mm3: if fixed { 0.0 } else { asked.free_mm3 },
                fixed,
            },
            group_of,
            keeps,
            feed_mm_min: section
                .body
                .iter()
                .find_map(|held| held.print())
                .map_or(0.0, |step| step.feed_mm_min),
            round: 0,
        }
    }
}

pub(super) fn group_in(group_of: &[(u32, u32)], blend: u32) -> u32 {
    let found = group_of.iter().find(|(known, _)| *known == blend);
    found.map_or(blend, |(_, group)| *group)
}
