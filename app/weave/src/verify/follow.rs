//! A woven file to be stepped through, layer by layer and move by move, whatever its size.
//!
//! One pass over the file notes where each layer's lines stand and, now and then, how the
//! machine and its melt chamber were. After that a layer is read by going on from the last such
//! mark before it, so a jump costs the same in a file of a megabyte and of a gigabyte, and only
//! the layers that someone looks at are held.

use std::collections::BTreeMap;
use std::io::{self, Read};
use std::ops::Range;

use blend::Shares;
use geometry::Progress;
use toolpath::{MachineState, Replay, Replayed as Seen, Step, filament_area_mm2};

use super::deposition::{Laying, Piece, Replayed, key};
use super::nozzle::Nozzle;
use crate::{Source, WeaveError};

/// Marks lie at least so far apart, bytes.
const APART: u64 = 128 * 1024;

/// The most marks, however long the file.
const MOST_MARKS: u64 = 2048;

/// Two stretches of one layer nearer than this are read as one, bytes.
const GAP: u64 = 64 * 1024;

/// More heights than any print has.
const MOST_HEIGHTS: usize = 100_000;

/// Beyond so many stretches, farther ones are read as one too.
const MOST_STRETCHES: usize = 200_000;

/// The most pieces of one layer that are held: a few hundred metres of strand.
pub const MOST_PIECES: usize = 400_000;

/// Bytes of a line that are kept to be shown.
const LONGEST_TEXT: usize = 160;

/// How everything was at the beginning of a line.
#[derive(Clone, Debug)]
struct Mark {
    bytes: u64,
    lines: u64,
    state: MachineState,
    nozzle: Nozzle,
    climb_mm: f64,
}

/// Where one layer stands in the file, and what it takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Height of the nozzle, mm.
    pub top_mm: f64,
    /// Moves that lay plastic.
    pub moves: u64,
    /// Filament, mm.
    pub filament_mm: f64,
    /// Its lines' bytes: mostly one stretch, several where copies are printed one by one.
    stretches: Vec<Range<u64>>,
}

/// Where every layer of a woven file stands.
#[derive(Clone, Debug)]
pub struct Index {
    /// Layers from the bed upwards.
    pub layers: Vec<Entry>,
    /// Size of the file that it is of, bytes.
    pub size_bytes: u64,
    marks: Vec<Mark>,
}

/// One line of the file that lays plastic along a way.
#[derive(Clone, Debug, PartialEq)]
pub struct LaidMove {
    /// Its number in the file.
    pub line: u64,
    /// Its pieces.
    pub pieces: Range<usize>,
    /// Filament of its layer up to its end, mm.
    pub filament_mm: f64,
    /// The blend that is fed, as an index of [`LayerMoves::blends`]; `None` before the first
    /// command.
    pub fed: Option<usize>,
    text: Range<usize>,
}

/// A layer, move by move in the order of printing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LayerMoves {
    /// Height of the nozzle, mm.
    pub top_mm: f64,
    /// Straight pieces in machine coordinates, as in [`super::deposition`].
    pub pieces: Vec<Piece>,
    /// The moves.
    pub moves: Vec<LaidMove>,
    /// The blends that are fed, in the order of their first use.
    pub blends: Vec<Shares>,
    /// More than [`MOST_PIECES`] would be needed: the last moves are left out.
    pub cut_off: bool,
    texts: String,
}

impl LayerMoves {
    /// The text of a move's line, without its end and without what is too long to be shown.
    pub fn text(&self, of: &LaidMove) -> &str {
        self.texts.get(of.text.clone()).unwrap_or_default()
    }

    /// The blend that is fed during a move.
    pub fn fed(&self, of: &LaidMove) -> Option<Shares> {
        self.blends.get(of.fed?).copied()
    }

    fn add(&mut self, seen: &Seen<'_>, pieces: Range<usize>, fed: Option<Shares>, fresh_mm: f64) {
        let from = self.texts.len();
        let body = seen.line.body();
        let body = body.get(..LONGEST_TEXT).unwrap_or(body);
        self.texts.push_str(&String::from_utf8_lossy(body));
        let before = self.moves.last().map_or(0.0, |m| m.filament_mm);
        // Mostly the last one again.
        let fed = fed.map(
            |fed| match self.blends.iter().rposition(|known| *known == fed) {
                Some(at) => at,
                None => {
                    self.blends.push(fed);
                    self.blends.len() - 1
                }
            },
        );
        self.moves.push(LaidMove {
            line: seen.line.number(),
            pieces,
            filament_mm: before + fresh_mm,
            fed,
            text: from..self.texts.len(),
        });
    }
}

impl Index {
    /// Reads a woven file through once. `replayed` says how; its heights don't matter.
    ///
    /// # Errors
    /// When the file can't be read, lays plastic at more heights than any print has, the
    /// dialect can't serve, or when cancelled.
    pub fn of(
        replayed: &Replayed<'_>,
        woven: &Source<'_>,
        progress: &Progress,
    ) -> Result<Self, WeaveError> {
        progress.stage("Looking for the layers");
        let apart = APART.max(woven.size_bytes() / MOST_MARKS);
        let area_mm2 = area_mm2(replayed);
        let mut laying = Laying::new(replayed)?;
        let mut replay = Replay::new(woven.read()?, replayed.settings);
        let mut marks: Vec<Mark> = Vec::new();
        let mut entries: BTreeMap<i64, Entry> = BTreeMap::new();
        let mut stretches = 0;
        let (mut lines, mut in_comment) = (0, false);
        loop {
            let bytes = replay.offset();
            let due = marks.last().is_none_or(|m| bytes >= m.bytes + apart);
            if due && !in_comment {
                progress.set(bytes as f32 / woven.size_bytes().max(1) as f32);
                progress.check()?;
                marks.push(Mark {
                    bytes,
                    lines,
                    state: *replay.state(),
                    nozzle: laying.nozzle.clone(),
                    climb_mm: laying.climb_mm,
                });
            }
            let Some(seen) = replay.advance()? else {
                break;
            };
            (lines, in_comment) = (seen.line.number(), seen.line.goes_on());
            laying.nozzle.hear(&seen.line);
            let Step::Move(step) = seen.step else {
                continue;
            };
            if step.fresh_mm <= 0.0 {
                continue;
            }
            if let Some(top_mm) = laying.top_of(&step) {
                let full = entries.len() >= MOST_HEIGHTS;
                let entry = entries.entry(key(top_mm)).or_insert_with(|| Entry {
                    top_mm,
                    moves: 0,
                    filament_mm: 0.0,
                    stretches: Vec::new(),
                });
                if full && entry.moves == 0 {
                    return Err(WeaveError::ManyHeights);
                }
                entry.moves += 1;
                entry.filament_mm += step.fresh_mm;
                let end = bytes + seen.line.bytes().len() as u64;
                match entry.stretches.last_mut() {
                    Some(last) if bytes <= last.end + GAP || stretches >= MOST_STRETCHES => {
                        last.end = end;
                    }
                    _ => {
                        entry.stretches.push(bytes..end);
                        stretches += 1;
                    }
                }
            }
            let volume_mm3 = step.fresh_mm * area_mm2;
            laying.lay(&step, volume_mm3, lines, None);
        }
        Ok(Self {
            layers: entries.into_values().collect(),
            size_bytes: replay.offset(),
            marks,
        })
    }

    /// The layer whose plastic lies at a height of the print, mm: the lowest whose nozzle is
    /// above it, or the last one.
    pub fn layer_at(&self, height_mm: f64) -> Option<usize> {
        const HAIR_MM: f64 = 1e-4;
        let beneath = |entry: &Entry| entry.top_mm <= height_mm + HAIR_MM;
        let at = self.layers.partition_point(beneath);
        Some(at.min(self.layers.len().checked_sub(1)?))
    }

    /// Reads one layer. `replayed` must be as it was for [`Index::of`]; `open_at` opens the
    /// same file at a byte.
    ///
    /// # Errors
    /// When the file can't be read, or when cancelled.
    pub fn layer(
        &self,
        which: usize,
        replayed: &Replayed<'_>,
        open_at: &dyn Fn(u64) -> io::Result<Box<dyn Read>>,
        progress: &Progress,
    ) -> Result<LayerMoves, WeaveError> {
        progress.stage("Reading a layer");
        let Some(entry) = self.layers.get(which) else {
            return Ok(LayerMoves::default());
        };
        let mut layer = LayerMoves {
            top_mm: entry.top_mm,
            ..LayerMoves::default()
        };
        for stretch in &entry.stretches {
            let after = self.marks.partition_point(|m| m.bytes <= stretch.start);
            let Some(mark) = after.checked_sub(1).and_then(|i| self.marks.get(i)) else {
                continue;
            };
            let input = open_at(mark.bytes).map_err(WeaveError::Open)?;
            read_stretch(&mut layer, replayed, mark, stretch, input, progress)?;
            if layer.cut_off {
                break;
            }
        }
        Ok(layer)
    }
}

fn area_mm2(replayed: &Replayed<'_>) -> f64 {
    let spools = &replayed.painted.plan().spools;
    filament_area_mm2(spools.first().map_or(1.75, |s| s.diameter_mm))
}

/// Goes on from a mark to the end of a stretch and takes what belongs to the layer.
fn read_stretch(
    layer: &mut LayerMoves,
    replayed: &Replayed<'_>,
    mark: &Mark,
    stretch: &Range<u64>,
    input: impl Read,
    progress: &Progress,
) -> Result<(), WeaveError> {
    let area_mm2 = area_mm2(replayed);
    let wanted = key(layer.top_mm);
    let mut laying = Laying::resumed(replayed, mark.nozzle.clone(), mark.climb_mm);
    let mut replay = Replay::resumed(input, mark.state, mark.lines, mark.bytes);
    let mut next_look = 0;
    while let Some(seen) = replay.advance()? {
        let offset = seen.line.offset();
        if offset >= stretch.end {
            break;
        }
        if offset >= next_look {
            next_look = offset + APART;
            let long = (stretch.end - mark.bytes).max(1) as f32;
            progress.set((offset - mark.bytes) as f32 / long);
            progress.check()?;
        }
        laying.nozzle.hear(&seen.line);
        let Step::Move(step) = seen.step else {
            continue;
        };
        if step.fresh_mm <= 0.0 {
            continue;
        }
        let top_mm = laying.top_of(&step);
        let ours = offset >= stretch.start && top_mm.is_some_and(|top| key(top) == wanted);
        let volume_mm3 = step.fresh_mm * area_mm2;
        if !ours {
            laying.lay(&step, volume_mm3, 0, None);
            continue;
        }
        let fed = laying.nozzle.fed();
        let first = layer.pieces.len();
        let number = seen.line.number();
        laying.lay(&step, volume_mm3, number, Some(&mut layer.pieces));
        layer.add(&seen, first..layer.pieces.len(), fed, step.fresh_mm);
        if layer.pieces.len() >= MOST_PIECES {
            layer.cut_off = true;
            break;
        }
    }
    Ok(())
}
