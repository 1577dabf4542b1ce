//! Where purge blocks stand, how large they are, and what each section lays of them.
//!
//! Copies that are printed one after another are a round each, and each has a block of its own,
//! which grows only while its copy is printed. A block then keeps clear of the tool head's way:
//! nothing that stands may come nearer to the nozzle than the machine's clearance says.

use std::collections::HashMap;
use std::ops::Range;

use plan::machine::Clearance;

use super::block::{self, Block, Level};
use super::levels::{key, levels};
use super::planned::{BlockLevel, Facts, Keeps, OfLevel, PlacedBlock, Planned, Stands};
use super::planning::{Planning, without_purge};
use super::plate::Squares;
use super::plates::{Bounds, Plates, Round, apart_mm, joined};

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

/// One round of the print, for which a block is looked for.
struct Site<'a> {
    /// Its sections.
    sections: Range<usize>,
    /// Where the head must keep away from what stands, if there are other rounds.
    room: Option<Room<'a>>,
}

/// What stands before a round, and what is printed after it.
struct Room<'a> {
    around_mm: f64,
    round: usize,
    rounds: &'a [Round],
    /// Blocks of the rounds before.
    blocks: Vec<Bounds>,
}

impl Room<'_> {
    /// Whether a block fits in: what stands already is far from where the nozzle goes in this
    /// round, and the block is far from where it goes later.
    fn is_clear(&self, block: Bounds) -> bool {
        let own = self.rounds.get(self.round).and_then(|round| round.all);
        let goes = joined(own, block);
        let far = |a: Bounds, b: Bounds| apart_mm(a, b) >= self.around_mm;
        let before = self.rounds.get(..self.round).unwrap_or_default();
        let after = self.rounds.get(self.round + 1..).unwrap_or_default();
        let stands = before.iter().filter_map(|round| round.high);
        let mut stands = stands.chain(self.blocks.iter().copied());
        let mut later = after.iter().filter_map(|round| round.all);
        stands.all(|there| far(goes, there)) && later.all(|there| far(block, there))
    }
}

impl Planning<'_> {
    /// Finds the size and place of each block, and gives each section its part of it.
    pub(super) fn stand(&self, planned: &mut Planned, plates: &Plates) {
        let rounds = self.rounds();
        let mut notes: Vec<String> = Vec::new();
        let purges = planned.doing.iter().flat_map(|d| &d.changes);
        let asked = purges.clone().any(|change| change.purge_mm3 > 0.0);
        let clearance = match rounds.len() {
            0 | 1 => Ok(None),
            _ if asked => self.clearance(&rounds, plates).map(Some),
            _ => Ok(None),
        };
        match clearance {
            Ok(clearance) => {
                for (round, sections) in rounds.iter().enumerate() {
                    let stands = planned.standing.iter().map(|s| s.block.bounds_mm());
                    let site = Site {
                        sections: sections.clone(),
                        room: clearance.map(|clearance: Clearance| Room {
                            around_mm: clearance.around_mm,
                            round,
                            rounds: &plates.rounds,
                            blocks: stands.collect(),
                        }),
                    };
                    match self.block(planned, &site, &plates.all, &mut notes) {
                        Some(block) => self.give(planned, &site, block),
                        None => without_purge(
                            planned.doing.get_mut(sections.clone()).unwrap_or_default(),
                        ),
                    }
                }
            }
            Err(why) => {
                notes.push(why);
                without_purge(&mut planned.doing);
            }
        }
        notes.dedup();
        planned.arranged.cautions.append(&mut notes);
        let spool = self.job.asked.painted().plan().spools.first();
        planned.arranged.block_g = spool.map_or(0.0, |s| s.mass_g(planned.arranged.block_mm3));
    }

    /// The sections of each round.
    fn rounds(&self) -> Vec<Range<usize>> {
        let mut found: Vec<Range<usize>> = Vec::new();
        let mut last = None;
        for (index, facts) in self.facts.iter().enumerate() {
            match found.last_mut().filter(|_| last == Some(facts.round)) {
                Some(sections) => sections.end = index + 1,
                None => found.push(index..index + 1),
            }
            last = Some(facts.round);
        }
        found
    }

    /// The room that the tool head needs between copies, or why there is no block beside them.
    fn clearance(&self, rounds: &[Range<usize>], plates: &Plates) -> Result<Clearance, String> {
        let plan = self.job.asked.painted().plan();
        let Some(clearance) = plan.machine.clearance else {
            let first = self.facts.get(rounds.first().map_or(0..0, Clone::clone));
            let tops = first.unwrap_or_default().iter().map(|f| f.top_mm);
            let from_mm = tops.fold(0.0, f64::max);
            return Err(format!(
                "The print comes down again after {from_mm:.2} mm, as where copies are printed one \
                 after another, and the machine file does not say how much room the tool head \
                 needs beside what stands. So there is no purge block. Write `clearance` in the \
                 machine file, or slice the copies to be printed together, layer by layer"
            ));
        };
        let stands = plates
            .rounds
            .split_last()
            .map_or(&[][..], |(_, before)| before);
        let highest_mm = stands.iter().map(|round| round.top_mm).fold(0.0, f64::max);
        match highest_mm > clearance.under_mm {
            true => Err(format!(
                "Copies are printed one after another and stand {highest_mm:.2} mm high, and the \
                 machine file says that no more than {:.2} mm pass under its carriage. So there is \
                 no purge block: slice the copies to be printed together, layer by layer",
                clearance.under_mm
            )),
            false => Ok(clearance),
        }
    }

    /// The best block for a round that has a place; `None` if there is nothing to purge, or none
    /// fits, which is then noted.
    fn block(
        &self,
        planned: &Planned,
        site: &Site<'_>,
        plate: &Squares,
        notes: &mut Vec<String>,
    ) -> Option<Block> {
        let levels = self.levels_of(planned, site, f64::INFINITY);
        let nozzle_mm = self.job.asked.painted().plan().machine.nozzle_mm;
        let mut below = 0.0;
        for level in &levels {
            if level.top_mm - below > 0.85 * nozzle_mm {
                notes.push(self.too_far_apart(site, below, level.top_mm));
                return None;
            }
            below = level.top_mm;
        }
        levels.last()?;
        // Only one block can stand at a place that is given.
        let given = self.job.how.block_at_mm.filter(|_| site.room.is_none());
        if site.room.is_some() && self.job.how.block_at_mm.is_some() {
            let text = "Each copy has a purge block, so the place given for one is not used";
            notes.push(text.to_owned());
        }
        let tries = self.tries(planned, site, &levels, 1.125 * nozzle_mm);
        let placed = tries.into_iter().find_map(|block| {
            let low_mm = given.or_else(|| self.place(site, plate, &block))?;
            Some(Block { low_mm, ..block })
        });
        let Some(block) = placed else {
            notes.push(no_place(site));
            return None;
        };
        let (low, high) = block.bounds_mm();
        if given.is_some() && !plate.is_free(low, high) {
            let text = "The place given for the purge block is not free: nothing is purged";
            notes.push(text.to_owned());
            return None;
        }
        if given.is_none() && self.job.how.bed_mm.is_none() {
            let ([x, y], side) = (block.low_mm, block.side_mm);
            notes.push(format!(
                "A purge block is at x {x:.0} to {:.0}, y {y:.0} to {:.0} mm. The bed's size is \
                 unknown: check that this is on yours",
                x + side,
                y + side
            ));
        }
        Some(block)
    }

    /// A free place for a block.
    fn place(&self, site: &Site<'_>, plate: &Squares, block: &Block) -> Option<[f64; 2]> {
        let room = site.room.as_ref();
        let near = room.and_then(|room| room.rounds.get(room.round)?.all);
        block::place(plate, block, self.job.how.bed_mm, near, |bounds| {
            room.is_none_or(|room| room.is_clear(bounds))
        })
    }

    fn levels_of(&self, planned: &Planned, site: &Site<'_>, end_mm: f64) -> Vec<Level> {
        let facts = self.facts.get(site.sections.clone()).unwrap_or_default();
        let doing = planned.doing.get(site.sections.clone()).unwrap_or_default();
        levels(facts, doing, end_mm)
    }

    /// Why no block can grow from one height to another, mm.
    fn too_far_apart(&self, site: &Site<'_>, below_mm: f64, top_mm: f64) -> String {
        let between = |facts: &&Facts| facts.top_mm > below_mm && facts.top_mm <= top_mm + 1e-3;
        let facts = self.facts.get(site.sections.clone()).unwrap_or_default();
        let mut between = facts.iter().filter(between);
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

    /// Gives each change of a round its part of its block.
    fn give(&self, planned: &mut Planned, site: &Site<'_>, block: Block) {
        let sections = site.sections.clone();
        for index in sections.clone() {
            let (facts, doing) = (self.facts.get(index), planned.doing.get_mut(index));
            if let (Some(facts), Some(doing)) = (facts, doing)
                && facts.top_mm > block.top_mm + 1e-3
            {
                without_purge(std::slice::from_mut(doing));
            }
        }
        let mut levels = self.levels_of(planned, site, block.top_mm);
        block.taper(&mut levels);
        let chamber = &self.job.asked.painted().plan().machine.chamber;
        let tank_mm3 = chamber.mixed_mm3.max(1e-9);
        let brim_mm3 = block.volume_mm3(levels.get(..1).unwrap_or_default())
            - levels.first().map_or(0.0, |l| block.layer_mm3(l, l.top_mm));
        let mut below = 0.0;
        let mut laid: Vec<BlockLevel> = Vec::with_capacity(levels.len());
        let of_block = planned.standing.len();
        for (number, level) in levels.iter_mut().enumerate() {
            let height_mm = level.top_mm - below;
            below = level.top_mm;
            let room = block.layer_mm3(level, height_mm);
            let laid_mm3 = room + if number == 0 { brim_mm3 } else { 0.0 };
            planned.arranged.block_mm3 += laid_mm3;
            laid.push(BlockLevel {
                top_mm: level.top_mm,
                side_mm: level.side_mm,
                volume_mm3: laid_mm3,
            });
            let part = match level.purge_mm3 > 0.0 {
                // Half a line more or less is as near as lines come.
                true => (room / level.purge_mm3).min(1.05),
                false => 0.0,
            };
            let here: Vec<usize> = sections
                .clone()
                .filter(|i| self.of_level(*i, level.top_mm))
                .collect();
            for index in &here {
                if let Some(doing) = planned.doing.get_mut(*index) {
                    doing.level = Some(OfLevel {
                        block: of_block,
                        number,
                        height_mm,
                    });
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
        planned.arranged.blocks.push(PlacedBlock {
            block: block.clone(),
            levels: laid,
        });
        planned.standing.push(Stands { block, levels });
    }

    fn of_level(&self, index: usize, top_mm: f64) -> bool {
        let facts = self.facts.get(index);
        facts.is_some_and(|f| f.top_mm > 0.0 && (f.top_mm - top_mm).abs() < 1e-3)
    }

    /// Blocks to try, the best first: up to the last purge, or to an earlier one with those
    /// above left to smear, in all sides.
    fn tries(&self, planned: &Planned, site: &Site<'_>, all: &[Level], line_mm: f64) -> Vec<Block> {
        let mut ends: Vec<f64> = all.last().map(|l| l.top_mm).into_iter().collect();
        let mut above: Option<f64> = None;
        for level in all.iter().rev().filter(|l| l.purge_mm3 > 0.0) {
            if above.is_some_and(|above| above - level.top_mm > APART_MM) {
                ends.push(level.top_mm);
            }
            above = Some(level.top_mm);
        }
        let mut found: Vec<(f64, Block)> = Vec::new();
        for top_mm in ends.into_iter().take(MOST_ENDS) {
            let mut levels = self.levels_of(planned, site, top_mm);
            for side_mm in Block::sides(top_mm) {
                let block = Block {
                    low_mm: [0.0; 2],
                    side_mm,
                    top_mm,
                    line_mm,
                };
                block.taper(&mut levels);
                let widest_mm = levels.iter().map(|l| l.side_mm).fold(0.0, f64::max);
                let cost = self.cost(&block, &levels, planned, site);
                let side_mm = widest_mm.min(side_mm);
                found.push((cost, Block { side_mm, ..block }));
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.into_iter().map(|(_, block)| block).collect()
    }

    /// What a block costs, in mean ΔE00: what is still seen of the changes, and its plastic.
    fn cost(&self, block: &Block, levels: &[Level], planned: &Planned, site: &Site<'_>) -> f64 {
        let plan = self.job.asked.painted().plan();
        let tank_mm3 = plan.machine.chamber.mixed_mm3;
        let all = self.facts.get(site.sections.clone()).unwrap_or_default();
        let skin_mm3: f64 = all.iter().flat_map(|f| &f.volumes).sum();
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
        let doing = planned.doing.get(site.sections.clone()).unwrap_or_default();
        for (facts, doing) in all.iter().zip(doing) {
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
}

/// Why there is no place for a block.
fn no_place(site: &Site<'_>) -> String {
    match &site.room {
        None => "There is no free place on the plate for a purge block".to_owned(),
        Some(room) => format!(
            "There is no place for a purge block beside copy {} of those printed one after another \
             that is {:.1} mm from the others, as the machine file's clearance asks",
            room.round + 1,
            room.around_mm
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, side: f64) -> Bounds {
        ([x, y], [x + side, y + side])
    }

    fn round(bounds: Bounds) -> Round {
        Round {
            all: Some(bounds),
            high: Some(bounds),
            top_mm: 20.0,
        }
    }

    #[test]
    fn a_block_keeps_clear_of_what_stands_and_of_what_is_printed_later() {
        let rounds = [0.0, 70.0, 140.0].map(|x| round(square(x, 0.0, 20.0)));
        let room = |at: usize, blocks: Vec<Bounds>| Room {
            around_mm: 40.0,
            round: at,
            rounds: &rounds,
            blocks,
        };
        // Behind its copy, no nearer to the others than the copy itself.
        assert!(room(0, Vec::new()).is_clear(square(2.0, 26.0, 12.0)));
        assert!(room(1, Vec::new()).is_clear(square(72.0, 26.0, 12.0)));
        // Towards a copy that is printed later, or that stands.
        assert!(!room(0, Vec::new()).is_clear(square(26.0, 4.0, 12.0)));
        assert!(!room(1, Vec::new()).is_clear(square(48.0, 4.0, 12.0)));
        // Beyond a copy that stands: the nozzle would have to pass it.
        assert!(!room(1, Vec::new()).is_clear(square(-60.0, 4.0, 12.0)));
        // Another copy's block stands as well.
        let beside = vec![square(72.0, 66.0, 12.0)];
        assert!(!room(1, beside).is_clear(square(72.0, 26.0, 12.0)));
        // What is low is passed over.
        let low = [
            Round {
                high: None,
                ..rounds[0]
            },
            rounds[1],
            rounds[2],
        ];
        let over = Room {
            rounds: &low,
            ..room(1, Vec::new())
        };
        assert!(over.is_clear(square(48.0, 4.0, 12.0)));
    }
}
