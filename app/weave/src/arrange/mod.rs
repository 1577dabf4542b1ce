//! The toolpath laid in another order, so that blends arrive where they are seen.
//!
//! A layer of a sliced file is a list of runs. Here they change places within their layer, are
//! cut where regions end, and plastic that nobody sees is laid between two blends; what that
//! can't take up is purged into a block beside the part (`block`). The result is a toolpath
//! like the one that came in, still without a blend: the weaving goes over it as over any other.
//!
//! 1. The file is read in sections (`sections`): plastic of one height with nothing in it
//!    that must not be passed. Its ways of going from run to run are learnt (`habits`).
//! 2. Each section's plastic is looked up in the plan (`atoms`), and the order of blends with
//!    the least to be purged is found over all sections (`order`).
//! 3. The file is read again and written section by section (`lay`).
//!
//! Rules, each for its reason. What climbs stays in order, and so does what lies over a gap:
//! bridges need what holds them. The first layer stays in order, for it must stick. Settings go
//! with their plastic; temperatures, tools and whatever is not known are walls that nothing
//! passes. Within one blend the file's own order of walls and filling stays. Layers take no less
//! time than before, for nothing is left out.

mod atoms;
pub mod block;
mod groups;
mod habits;
mod lay;
mod levels;
mod lines;
mod order;
mod planned;
mod planning;
mod plate;
mod plates;
mod sections;
mod sequence;
mod sizing;
mod standing;

pub(crate) use planned::Job;
pub use planned::{ALLOW_DE00, Arrange, Arranged, BlockLevel, PlacedBlock, Purge, Purged};

use std::io::{self, Read, Write};

use geometry::Progress;
use plan::Painted;
use toolpath::{Distance, MachineState, Move, filament_area_mm2};

use crate::WeaveError;
use crate::asking::Asking;
use atoms::Cut;
use groups::{Groups, group_in};
use habits::Learner;
use lay::{Item, Lay, LayError};
use levels::Rounds;
use planned::{Facts, Keeps, Planned};
use planning::Planning;
use plate::{Hangs, Squares};
use plates::Plates;
use sections::{Section, Sections};
use sequence::{sequence, taken};

/// Plastic that hangs from one end by less than this needs nothing beside it, mm.
const HANGS_MM: f64 = 1.5;

/// Squares in which the plastic of the layer below is noted, mm.
const BELOW_MM: f64 = 0.4;

/// Squares in which the plate's free room is noted, mm.
const PLATE_MM: f64 = 2.0;

/// More sections than any print has layers.
const MOST_SECTIONS: usize = 400_000;

/// Lays a toolpath anew into `out`; `None`, and nothing written, if nothing is gained by it.
///
/// `open` gives the file from its beginning, twice.
///
/// # Errors
/// When the file can't be read or written, when cancelled, and when a line would not be laid
/// where it was.
pub(super) fn arrange(
    job: &Job<'_>,
    open: &dyn Fn() -> Result<Box<dyn Read>, WeaveError>,
    size_bytes: u64,
    make: &dyn Fn() -> io::Result<Box<dyn Write>>,
    progress: &Progress,
) -> Result<Result<Arranged, Vec<String>>, WeaveError> {
    progress.stage("Looking for a better order");
    let planned = match plan_of(job, open()?, size_bytes, progress)? {
        Ok(planned) => planned,
        Err(why) => return Ok(Err(why)),
    };
    if planned.arranged.reordered == 0 && planned.standing.is_empty() {
        return Ok(Err(planned.arranged.cautions));
    }
    progress.stage("Laying the toolpath in its new order");
    let out = make()?;
    let (cuts, uncut) = written(job, &planned, open()?, size_bytes, out, progress)?;
    let mut arranged = Arranged {
        cuts,
        uncut,
        ..planned.arranged
    };
    if uncut > 0 {
        arranged.cautions.push(format!(
            "{uncut} runs cross a region's edge and have a move that can't be cut, such as one with a \
             number of too many digits; each is printed whole, in the blend that most of it asks for"
        ));
    }
    Ok(Ok(arranged))
}

/// The first reading: what each section asks for, and what is best done about it. Or why the
/// file stays as it is.
fn plan_of(
    job: &Job<'_>,
    file: Box<dyn Read>,
    size_bytes: u64,
    progress: &Progress,
) -> Result<Result<Planned, Vec<String>>, WeaveError> {
    let painted = job.asked.painted();
    let area_mm2 = area_mm2(painted);
    let mut asking = Asking::new(job.asked, job.overrides, job.stands);
    let mut groups = Groups::new(painted, job.how.allow_de00);
    let mut sections = Sections::new(file, job.settings);
    let mut learner = Learner::default();
    let mut facts: Vec<Facts> = Vec::new();
    let mut below = Squares::new(BELOW_MM);
    let mut above = Squares::new(BELOW_MM);
    let mut above_top_mm = f64::NEG_INFINITY;
    let mut plates = Plates::new(PLATE_MM);
    let mut rounds = Rounds::default();
    let mut lowest_mm = f64::INFINITY;
    let mut relative = false;
    while let Some(section) = sections.next()? {
        progress.set(sections.offset as f32 / size_bytes.max(1) as f32);
        progress.check()?;
        for held in section.lead.iter().chain(&section.body) {
            learner.line(held);
            let printing = lowest_mm.is_finite() && !section.body.is_empty();
            relative |= printing && held.before.distance() == Distance::Relative;
        }
        if section.body.is_empty() {
            facts.push(Facts {
                round: rounds.round,
                ..Facts::default()
            });
            continue;
        }
        if facts.len() > MOST_SECTIONS {
            return Ok(Err(vec![
                "The toolpath climbs all the time or has no layers, so it keeps its order"
                    .to_owned(),
            ]));
        }
        let round = rounds.at(section.top_mm);
        lowest_mm = lowest_mm.min(section.top_mm);
        let first = section.top_mm < lowest_mm + 1e-3;
        if (section.top_mm - above_top_mm).abs() > 1e-3 {
            std::mem::swap(&mut below, &mut above);
            above.clear();
            above_top_mm = section.top_mm;
        }
        let mut hangs = false;
        let mut hanging = Hanging::default();
        for step in section.body.iter().filter_map(|held| held.print()) {
            hangs |= !first && !hangs && !below.is_empty() && hanging.on(&below, step);
            above.lay(step);
            plates.lay(round, step);
        }
        let asked = atoms::asked(&section, &mut asking, area_mm2);
        let fixed = match (section.fixed || first, hangs) {
            (true, _) => Keeps::All,
            (false, true) => Keeps::Order,
            (false, false) => Keeps::Nothing,
        };
        facts.push(Facts {
            round,
            ..groups.facts(&section, &asked, &asking.blends, fixed)
        });
    }
    if relative {
        return Ok(Err(vec![
            "The toolpath prints by relative positions, so it keeps its order".to_owned(),
        ]));
    }
    if sections.numbered && !sections.checked {
        return Ok(Err(vec![
            "The toolpath has line numbers without checksums, so it keeps its order".to_owned(),
        ]));
    }
    let mut doubts = sections.cautions().as_slice().iter();
    if let Some(doubt) = doubts.find(|doubt| doubt.kind.leaves_a_move_in_doubt()) {
        return Ok(Err(vec![format!(
            "The toolpath has a move that could be understood otherwise, so it keeps its order: {doubt}"
        )]));
    }
    let planning = Planning {
        job,
        groups,
        blends: asking.blends,
        facts,
        habits: learner.habits(),
    };
    Ok(Ok(planning.run(&plates)))
}

/// Follows what hangs from one end only, over the bends of a run.
#[derive(Default)]
struct Hanging {
    end: Option<[f64; 3]>,
    bare_mm: f64,
}

impl Hanging {
    /// Whether more than a little hangs with this move.
    fn on(&mut self, below: &Squares, step: &Move) -> bool {
        if self.end != Some(step.from) {
            self.bare_mm = 0.0;
        }
        self.end = Some(step.to);
        let most_mm = match below.hangs(step) {
            Hangs::Throughout(length_mm) => {
                self.bare_mm += length_mm;
                self.bare_mm
            }
            Hangs::AtEnds(start_mm, end_mm) => {
                let most_mm = (self.bare_mm + start_mm).max(end_mm);
                self.bare_mm = end_mm;
                most_mm
            }
        };
        most_mm > HANGS_MM
    }
}

fn area_mm2(painted: &Painted) -> f64 {
    let spools = &painted.plan().spools;
    filament_area_mm2(spools.first().map_or(1.75, |s| s.diameter_mm))
}

/// The second reading: writes the file; gives the moves that were cut, and the runs that could not
/// be.
fn written(
    job: &Job<'_>,
    planned: &Planned,
    file: Box<dyn Read>,
    size_bytes: u64,
    out: Box<dyn Write>,
    progress: &Progress,
) -> Result<(u64, u64), WeaveError> {
    let painted = job.asked.painted();
    let area_mm2 = area_mm2(painted);
    let mut asking = Asking::new(job.asked, job.overrides, job.stands);
    let mut sections = Sections::new(file, job.settings);
    let line_mm = planned.standing.first().map_or(0.45, |s| s.block.line_mm);
    let mut lay: Option<Lay<Box<dyn Write>>> = None;
    let mut out = Some(out);
    let mut index = 0;
    let (mut cuts, mut uncut) = (0, 0);
    let mut left = Vec::new();
    let mut last_level = None;
    while let Some(section) = sections.next()? {
        progress.set(sections.offset as f32 / size_bytes.max(1) as f32);
        progress.check()?;
        if let Some(out) = out.take() {
            lay = Some(Lay::new(
                out,
                MachineState::new(job.settings),
                planned.habits,
                line_mm,
                area_mm2,
                &sections.end,
            ));
        }
        let Some(lay) = &mut lay else { break };
        let (Some(facts), Some(doing)) = (planned.facts.get(index), planned.doing.get(index))
        else {
            return Err(WeaveError::Changed);
        };
        index += 1;
        if section.body.is_empty() {
            lay.as_it_is(&section).map_err(fault)?;
            continue;
        }
        // Looked up all the same: what is known of a place serves the layers above.
        let asked = atoms::asked(&section, &mut asking, area_mm2);
        if let Some(of) = doing.level
            && last_level != Some((of.block, of.number))
        {
            last_level = Some((of.block, of.number));
            left = planned.path(of);
        }
        let closes = doing.closes && !left.is_empty();
        let opens = doing.opens_mm3 > 0.0 && !left.is_empty() && !doing.changes.is_empty();
        if doing.changes.is_empty() && !closes {
            lay.as_it_is(&section).map_err(fault)?;
            continue;
        }
        let keep = doing.changes.is_empty();
        let cut = match keep {
            true => Cut::whole(&section),
            false => asked.cut(&section, |b| group_in(&facts.group_of, b), &sections.end),
        };
        cuts += cut.cuts;
        uncut += cut.uncut;
        let height_mm = doing.level.map_or(0.0, |of| of.height_mm);
        let per_mm3 = line_mm * height_mm;
        let feed_mm_min = match doing.level {
            Some(of) if of.number == 0 => facts.feed_mm_min,
            _ => planned.habits.print_mm_min,
        };
        let opening = Item::Purge {
            chains: match opens {
                true => taken(&mut left, doing.opens_mm3 / per_mm3.max(1e-9)),
                false => Vec::new(),
            },
            height_mm,
            feed_mm_min,
        };
        let mut items = match keep {
            true => (0..cut.atoms.len()).map(Item::Atom).collect(),
            false => sequence(&cut, doing, facts.keeps == Keeps::Order, &mut |purge_mm3| {
                let chains = taken(&mut left, purge_mm3 / per_mm3.max(1e-9));
                Item::Purge {
                    chains,
                    height_mm,
                    feed_mm_min,
                }
            }),
        };
        if opens {
            items.insert(0, opening);
        }
        if closes {
            items.push(Item::Purge {
                chains: std::mem::take(&mut left),
                height_mm,
                feed_mm_min,
            });
        }
        items.retain(|item| !matches!(item, Item::Purge { chains, .. } if chains.is_empty()));
        lay.in_order(&section, &cut, &items).map_err(fault)?;
    }
    if index != planned.facts.len() {
        return Err(WeaveError::Changed);
    }
    if let Some(lay) = lay {
        lay.finish()?.flush()?;
    }
    Ok((cuts, uncut))
}

fn fault(error: LayError) -> WeaveError {
    match error {
        LayError::Output(error) => WeaveError::Output(error),
        LayError::Astray(_) => WeaveError::Laws(error.to_string()),
    }
}

impl Cut {
    /// A section as one atom: its body in the file's order.
    fn whole(section: &Section) -> Self {
        let ends = (
            section.body.iter().find_map(|h| h.print()),
            section.body.iter().rev().find_map(|h| h.print()),
        );
        let (Some(first), Some(last)) = ends else {
            return Self::default();
        };
        Self {
            atoms: vec![atoms::Atom {
                parts: std::iter::once(0..section.body.len()).collect(),
                asks: None,
                behind: false,
                volume_mm3: 0.0,
                from_mm: first.from,
                to_mm: last.to,
            }],
            body: section.body.clone(),
            cuts: 0,
            uncut: 0,
        }
    }
}

#[cfg(test)]
mod copies;
#[cfg(test)]
mod plain_parts;
#[cfg(test)]
mod tests;
