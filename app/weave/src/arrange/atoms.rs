//! A section's plastic in atoms: stretches without a break that ask for one blend.
//!
//! An atom is a run of moves, or a part of one cut off where a region ends. A closed loop that
//! is cut has no seam of its own any more: its last part goes on into its first.

use std::ops::Range;

use toolpath::{Line, Move, Path, Pieces, Word, split};

use super::lines::{Held, Kind};
use super::sections::Section;
use crate::asking::Asking;

/// Shorter parts of a run go with their neighbour, mm.
const SHORTEST_MM: f64 = 0.3;

/// Shorter parts that nobody sees are not worth a cut, mm.
const SHORTEST_FREE_MM: f64 = 2.5;

/// A loop's ends are no farther from each other than this, mm: slicers leave a little gap.
const CLOSED_MM: f64 = 0.25;

/// Plastic laid in one go, in one blend.
#[derive(Clone, Debug)]
pub(super) struct Atom {
    /// Its lines in the cut body, in the order of printing; two parts for a loop's ends joined.
    pub parts: Vec<Range<usize>>,
    /// The blend that it asks for; none if it is never seen.
    pub asks: Option<u32>,
    /// It lies behind the skin.
    pub behind: bool,
    pub volume_mm3: f64,
    pub from_mm: [f64; 3],
    pub to_mm: [f64; 3],
}

/// A section ready to be laid in another order.
#[derive(Debug, Default)]
pub(super) struct Cut {
    /// The body, with moves cut where atoms end.
    pub body: Vec<Held>,
    /// In the file's order.
    pub atoms: Vec<Atom>,
    /// Moves cut.
    pub cuts: u64,
    /// Runs that ask for several blends and can't be cut.
    pub uncut: u64,
}

/// Part of a line that asks for one thing.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    line: usize,
    /// Where it ends, as a fraction of the line's way.
    to: f64,
    asks: Option<u32>,
    length_mm: f64,
    volume_mm3: f64,
}

/// What each stretch of a section asks for, run by run.
pub(super) struct Asked {
    runs: Vec<Run>,
    /// Volume of each blend, in the order of first use.
    pub blends: Vec<(u32, f64)>,
    /// What of each lies behind the skin, and what of that if the file lays it before the skin.
    pub behind: Vec<(u32, f64, f64)>,
    pub free_mm3: f64,
    /// Blends in the order in which they are asked for, by turns: no more of it than is of use.
    pub order: Vec<u32>,
}

struct Run {
    lines: Range<usize>,
    /// How much of it lies in the skin, from 0 to 1, and not behind it.
    front: f64,
    stretches: Vec<Stretch>,
}

/// Follows a section through the plan.
pub(super) fn asked(section: &Section, asking: &mut Asking<'_>, area_mm2: f64) -> Asked {
    let mut found = Asked {
        runs: Vec::new(),
        blends: Vec::new(),
        behind: Vec::new(),
        free_mm3: 0.0,
        order: Vec::new(),
    };
    for lines in runs(&section.body) {
        let mut stretches: Vec<Stretch> = Vec::new();
        for (index, step) in prints(&section.body, &lines) {
            let (length, volume) = (step.length_mm(), step.fresh_mm * area_mm2);
            asking.stretches(step, |from, to, asks| {
                let part = to - from;
                stretches.push(Stretch {
                    line: index,
                    to,
                    asks,
                    length_mm: length * part,
                    volume_mm3: volume * part,
                });
            });
        }
        let seen = stretches.iter().any(|stretch| stretch.asks.is_some());
        let front = match seen {
            true => in_front(&section.body, &lines, asking),
            false => 0.0,
        };
        for stretch in &stretches {
            if let Some(blend) = stretch.asks {
                found.counts_behind(blend, front, stretch.volume_mm3);
            }
            match stretch.asks {
                None => found.free_mm3 += stretch.volume_mm3,
                Some(blend) => {
                    if found.order.last() != Some(&blend) {
                        found.order.push(blend);
                    }
                    match found.blends.iter_mut().find(|(known, _)| *known == blend) {
                        Some((_, volume)) => *volume += stretch.volume_mm3,
                        None => found.blends.push((blend, stretch.volume_mm3)),
                    }
                }
            }
        }
        found.runs.push(Run {
            lines,
            front,
            stretches,
        });
    }
    found
}

/// Looks at so many moves of a run.
const LOOKS: usize = 5;

/// How much of a run lies in the skin, as far as a few of its moves tell.
fn in_front(body: &[Held], lines: &Range<usize>, asking: &Asking<'_>) -> f64 {
    let count = prints(body, lines).count();
    let every = count.div_ceil(LOOKS).max(1);
    let (mut front_mm, mut all_mm) = (0.0, 0.0);
    for (_, step) in prints(body, lines).step_by(every) {
        front_mm += step.length_mm() * asking.in_front(step);
        all_mm += step.length_mm();
    }
    front_mm / f64::max(all_mm, 1e-9)
}

impl Asked {
    /// Counts plastic of a run that lies behind its blend's skin, or in it.
    fn counts_behind(&mut self, blend: u32, front: f64, volume_mm3: f64) {
        let behind_mm3 = volume_mm3 * (1.0 - front);
        // What takes up a change lies behind the skin as a whole.
        let whole_mm3 = if front <= 0.0 { volume_mm3 } else { 0.0 };
        match self.behind.iter_mut().find(|(known, ..)| *known == blend) {
            Some((_, all, first)) => {
                *all += behind_mm3;
                // The file begins this blend behind its skin, and goes on so.
                if *first > 0.0 {
                    *first += whole_mm3;
                }
            }
            None => self.behind.push((blend, behind_mm3, whole_mm3)),
        }
    }
}

fn prints<'a>(
    body: &'a [Held],
    lines: &Range<usize>,
) -> impl Iterator<Item = (usize, &'a Move)> + use<'a> {
    let from = lines.start;
    let held = body.get(lines.clone()).unwrap_or_default();
    held.iter()
        .enumerate()
        .filter_map(move |(i, held)| Some((from + i, held.print()?)))
}

/// The runs of a body: from the first move that lays plastic to the last before the nozzle goes
/// elsewhere.
fn runs(body: &[Held]) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    let mut open = false;
    for (index, held) in body.iter().enumerate() {
        match held.kind {
            Kind::Print(_) => match found.last_mut().filter(|_| open) {
                Some(run) => run.end = index + 1,
                None => {
                    found.push(index..index + 1);
                    open = true;
                }
            },
            Kind::Feed | Kind::Setting | Kind::Quiet => {}
            _ => open = false,
        }
    }
    found
}

impl Asked {
    /// Cuts the section where its runs go from one group of blends to another.
    pub(super) fn cut(&self, section: &Section, group: impl Fn(u32) -> u32, end: &[u8]) -> Cut {
        let mut cut = Cut::default();
        let mut next = 0;
        for run in &self.runs {
            cut.body
                .extend_from_slice(lines(&section.body, next..run.lines.start));
            next = run.lines.end;
            let mut parts: Vec<Stretch> = run.stretches.clone();
            for part in &mut parts {
                part.asks = part.asks.map(&group);
            }
            let parts = joined(joined(parts, false), true);
            run.lay(section, &parts, &mut cut, end);
        }
        cut.body
            .extend_from_slice(lines(&section.body, next..section.body.len()));
        cut
    }
}

fn lines(body: &[Held], range: Range<usize>) -> &[Held] {
    body.get(range).unwrap_or_default()
}

/// Neighbours that ask for the same as one list of parts; each part is a list of stretches that
/// belong together, told by one `asks`. Short ones go with the one before, or after.
fn joined(mut parts: Vec<Stretch>, free: bool) -> Vec<Stretch> {
    // Groups of equal asks.
    let mut start = 0;
    let mut groups: Vec<(Range<usize>, Option<u32>, f64)> = Vec::new();
    while let Some(first) = parts.get(start) {
        let asks = first.asks;
        let rest = parts.get(start..).unwrap_or_default();
        let count = rest.iter().take_while(|s| s.asks == asks).count().max(1);
        let length = rest.iter().take(count).map(|s| s.length_mm).sum();
        groups.push((start..start + count, asks, length));
        start += count;
    }
    if groups.len() < 2 {
        return parts;
    }
    let most = groups.len() - 1;
    let mut new: Vec<Option<u32>> = groups.iter().map(|g| g.1).collect();
    for (index, (_, asks, length)) in groups.iter().enumerate() {
        let short = match free {
            true => asks.is_none() && *length < SHORTEST_FREE_MM,
            false => *length < SHORTEST_MM,
        };
        if short {
            let beside = match index {
                0 => new.get(1).copied(),
                _ => new.get(index - 1).copied(),
            };
            if let (Some(beside), Some(slot)) = (beside, new.get_mut(index.min(most))) {
                *slot = beside;
            }
        }
    }
    for ((range, _, _), asks) in groups.into_iter().zip(new) {
        for part in parts.get_mut(range).unwrap_or_default() {
            part.asks = asks;
        }
    }
    parts
}

impl Run {
    /// Lays the run's lines into the cut body, and its atoms.
    fn lay(&self, section: &Section, parts: &[Stretch], cut: &mut Cut, end: &[u8]) {
        let first_asks = parts.first().and_then(|p| p.asks);
        let one = parts.iter().all(|p| p.asks == first_asks);
        if !one && let Some(atoms) = self.in_parts(section, parts, cut, end) {
            let closed = match (atoms.first(), atoms.last()) {
                (Some(first), Some(last)) if atoms.len() > 1 => {
                    first.asks == last.asks && near(first.from_mm, last.to_mm)
                }
                _ => false,
            };
            let mut atoms = atoms;
            if closed
                && let Some(last) = atoms.pop()
                && let Some(first) = atoms.first_mut()
            {
                let mut parts = last.parts;
                parts.append(&mut first.parts);
                first.parts = parts;
                first.from_mm = last.from_mm;
                first.volume_mm3 += last.volume_mm3;
            }
            cut.atoms.append(&mut atoms);
            return;
        }
        cut.uncut += u64::from(!one);
        // As a whole, in the blend that has most of it.
        let mut sums: Vec<(Option<u32>, f64)> = Vec::new();
        for part in parts {
            match sums.iter_mut().find(|(asks, _)| *asks == part.asks) {
                Some((_, sum)) => *sum += part.volume_mm3,
                None => sums.push((part.asks, part.volume_mm3)),
            }
        }
        let asks = sums
            .iter()
            .max_by(|a, b| {
                (a.0.is_some(), a.1)
                    .partial_cmp(&(b.0.is_some(), b.1))
                    .unwrap_or(std::cmp::Ordering::Equal)
            })
            .and_then(|s| s.0);
        let from = cut.body.len();
        cut.body
            .extend_from_slice(lines(&section.body, self.lines.clone()));
        let to = cut.body.len();
        let ends = (
            lines(&cut.body, from..to)
                .iter()
                .find_map(Held::print)
                .copied(),
            lines(&cut.body, from..to)
                .iter()
                .rev()
                .find_map(Held::print)
                .copied(),
        );
        if let (Some(first), Some(last)) = ends {
            cut.atoms.push(Atom {
                parts: std::iter::once(from..to).collect(),
                asks,
                behind: self.front <= 0.0,
                volume_mm3: parts.iter().map(|p| p.volume_mm3).sum(),
                from_mm: first.from,
                to_mm: last.to,
            });
        }
    }

    /// The run cut in parts; none, and nothing done, if a move can't be cut.
    fn in_parts(
        &self,
        section: &Section,
        parts: &[Stretch],
        cut: &mut Cut,
        end: &[u8],
    ) -> Option<Vec<Atom>> {
        let back = cut.body.len();
        let mut atoms: Vec<Atom> = Vec::new();
        let mut at = 0;
        let mut made = 0;
        for index in self.lines.clone() {
            let held = section.body.get(index)?;
            let Some(step) = held.print() else {
                cut.body.push(held.clone());
                if let Some(part) = atoms.last_mut().and_then(|a| a.parts.last_mut()) {
                    part.end = cut.body.len();
                }
                continue;
            };
            let here: Vec<Stretch> = parts
                .get(at..)?
                .iter()
                .take_while(|p| p.line == index)
                .copied()
                .collect();
            at += here.len();
            // Where what it asks for changes within the line.
            let mut pieces: Vec<(f64, Option<u32>, f64)> = Vec::new();
            for stretch in &here {
                match pieces.last_mut() {
                    Some(last) if last.1 == stretch.asks => {
                        last.0 = stretch.to;
                        last.2 += stretch.volume_mm3;
                    }
                    _ => pieces.push((stretch.to, stretch.asks, stretch.volume_mm3)),
                }
            }
            let held_pieces = match pieces.len() {
                0 | 1 => vec![held.clone()],
                _ => {
                    let cuts: Vec<f64> = pieces.iter().rev().skip(1).rev().map(|p| p.0).collect();
                    match cut_line(held, step, &cuts, end) {
                        Some(lines) => {
                            made += 1;
                            lines
                        }
                        None => {
                            cut.body.truncate(back);
                            return None;
                        }
                    }
                }
            };
            for (held, (_, asks, volume_mm3)) in held_pieces.into_iter().zip(pieces) {
                let Some(step) = held.print().copied() else {
                    cut.body.truncate(back);
                    return None;
                };
                let place = cut.body.len();
                cut.body.push(held);
                match atoms.last_mut().filter(|a| a.asks == asks) {
                    Some(atom) => {
                        atom.volume_mm3 += volume_mm3;
                        atom.to_mm = step.to;
                        if let Some(part) = atom.parts.last_mut() {
                            part.end = place + 1;
                        }
                    }
                    None => atoms.push(Atom {
                        parts: std::iter::once(place..place + 1).collect(),
                        asks,
                        behind: self.front <= 0.0,
                        volume_mm3,
                        from_mm: step.from,
                        to_mm: step.to,
                    }),
                }
            }
        }
        cut.cuts += made;
        Some(atoms)
    }
}

/// A line cut at fractions of its way, as lines that were read.
fn cut_line(held: &Held, step: &Move, cuts: &[f64], end: &[u8]) -> Option<Vec<Held>> {
    let mut words: Vec<Word> = Vec::new();
    let mut pieces = Pieces::new();
    let mut after = held.before;
    {
        let line = Line::parse(held.bare(), &mut words);
        after.apply(&line, &mut toolpath::Cautions::new());
        split(&line, &held.before, &after, step, cuts, &mut pieces).ok()?;
    }
    let mut state = held.before;
    let mut made = Vec::with_capacity(pieces.len());
    for index in 0..pieces.len() {
        let (piece, next) = Held::made(pieces.get(index), end, held.numbered, state, &held.set);
        let here = piece.print()?;
        // A piece that is none can't stand for itself.
        if here.path == Path::Straight && here.from == here.to {
            return None;
        }
        state = next;
        made.push(piece);
    }
    Some(made)
}

fn near(a: [f64; 3], b: [f64; 3]) -> bool {
    (a[0] - b[0]).hypot(a[1] - b[1]) <= CLOSED_MM && (a[2] - b[2]).abs() < 1e-6
}
