//! The print as it comes out, move by move and layer by layer: what a view of a woven toolpath
//! draws and steps through.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use blend::{Shares, Srgb};
use geometry::Progress;
use plan::Painted;
use toolpath::{Move, Path, Replay, Settings, Step, filament_area_mm2};

use super::nozzle::Nozzle;
use crate::dialect::{Dialect, DialectError};
use crate::{Source, WeaveError};

/// One straight piece of laid plastic, in machine coordinates. 40 bytes: a million pieces, some
/// 30 MB of G-code, take 40 MB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Where it begins, mm.
    pub from_mm: [f32; 3],
    /// Where it ends, mm.
    pub to_mm: [f32; 3],
    /// Its volume, mm³.
    pub volume_mm3: f32,
    /// Its line in the file.
    pub line: u32,
    /// The colour that comes out, after the melt chamber; `None` before the first command.
    pub colour: Option<Srgb>,
}

/// All pieces of one height, in the order of printing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Layer {
    /// Height of the nozzle, mm.
    pub top_mm: f64,
    /// Its pieces.
    pub pieces: Vec<Piece>,
}

/// What to replay.
pub struct Replayed<'a> {
    /// The plan, for its spools and its model of mixing.
    pub painted: &'a Painted,
    /// The dialect that the file was woven in.
    pub dialect: &'a Dialect,
    /// How to read what toolpaths leave open.
    pub settings: Settings,
    /// Heights of the nozzle that are wanted, mm; all of them with `f64::MIN..=f64::MAX`.
    pub heights_mm: RangeInclusive<f64>,
}

/// A move is looked at this often along its way, mm; an arc is drawn as straight pieces so long.
const LOOK_MM: f64 = 1.0;

/// Heights nearer than this are one layer's, mm.
const SAME_MM: f64 = 0.001;

impl Replayed<'_> {
    /// Follows the whole file; layers from the bed upwards. Travels are left out.
    ///
    /// Pieces are in machine coordinates;
    /// [`Placement::to_part`](crate::register::Placement::to_part) takes them to the part.
    ///
    /// # Errors
    /// When the file can't be read, the dialect can't serve, or when cancelled.
    pub fn layers(
        &self,
        woven: &Source<'_>,
        progress: &Progress,
    ) -> Result<Vec<Layer>, WeaveError> {
        progress.stage("Replaying the woven toolpath");
        let plan = self.painted.plan();
        let area_mm2 = filament_area_mm2(plan.spools.first().map_or(1.75, |s| s.diameter_mm));
        let mut laying = Laying::new(self)?;
        // By height in thousandths of a millimetre.
        let mut layers: BTreeMap<i64, Layer> = BTreeMap::new();
        let mut replay = Replay::new(woven.read()?, self.settings);
        let mut next_look = 0;
        while let Some(seen) = replay.advance()? {
            laying.nozzle.hear(&seen.line);
            let offset = seen.line.offset();
            if let Step::Move(step) = seen.step
                && step.fresh_mm > 0.0
            {
                let volume_mm3 = step.fresh_mm * area_mm2;
                let top_mm = laying.top_of(&step);
                let wanted = top_mm.filter(|top_mm| self.heights_mm.contains(top_mm));
                let layer = wanted.map(|top_mm| {
                    layers.entry(key(top_mm)).or_insert_with(|| Layer {
                        top_mm,
                        pieces: Vec::new(),
                    })
                });
                let pieces = layer.map(|l| &mut l.pieces);
                laying.lay(&step, volume_mm3, seen.line.number(), pieces);
            }
            if offset >= next_look {
                next_look = offset + (1 << 20);
                progress.set(offset as f32 / woven.size_bytes().max(1) as f32);
                progress.check()?;
            }
        }
        Ok(layers.into_values().collect())
    }
}

/// What layers are told apart by: their height in thousandths of a millimetre.
pub(super) fn key(top_mm: f64) -> i64 {
    (top_mm / SAME_MM).round() as i64
}

/// A nozzle on its way that leaves pieces.
pub(super) struct Laying<'a> {
    replayed: &'a Replayed<'a>,
    pub nozzle: Nozzle,
    /// Where a climb that is one layer began, mm.
    pub climb_mm: f64,
    colour: Option<(Shares, Srgb)>,
}

impl<'a> Laying<'a> {
    /// At the beginning of a file.
    pub(super) fn new(replayed: &'a Replayed<'a>) -> Result<Self, DialectError> {
        let plan = replayed.painted.plan();
        Ok(Self {
            replayed,
            nozzle: Nozzle::new(replayed.dialect, plan.spools.len(), plan.machine.chamber)?,
            climb_mm: f64::MIN,
            colour: None,
        })
    }

    /// In the midst of a file, as it was there.
    pub(super) fn resumed(replayed: &'a Replayed<'a>, nozzle: Nozzle, climb_mm: f64) -> Self {
        Self {
            replayed,
            nozzle,
            climb_mm,
            colour: None,
        }
    }

    /// The height that a move counts with: its own if it is level. A toolpath that climbs all
    /// the while is cut where it has gone up by a layer. `None` for a move that stands still.
    pub(super) fn top_of(&mut self, step: &Move) -> Option<f64> {
        if !step.travels() {
            return None;
        }
        let (low, high) = (step.from[2].min(step.to[2]), step.from[2].max(step.to[2]));
        if high - low <= SAME_MM {
            return Some(high);
        }
        let layer_mm = self.replayed.painted.plan().layers.layer_mm;
        if !(self.climb_mm..self.climb_mm + layer_mm).contains(&high) {
            self.climb_mm = high;
        }
        Some(self.climb_mm)
    }

    /// Lays a move's plastic; its pieces go where they are wanted.
    pub(super) fn lay(
        &mut self,
        step: &Move,
        volume_mm3: f64,
        line: u64,
        mut into: Option<&mut Vec<Piece>>,
    ) {
        if !step.travels() {
            self.nozzle.lay(volume_mm3);
            return;
        }
        let line = u32::try_from(line).unwrap_or(u32::MAX);
        let count = (step.length_mm() / LOOK_MM).ceil().clamp(1.0, 1e4);
        let part_mm3 = volume_mm3 / count;
        let curved = matches!(step.path, Path::Arc(_));
        let mut begun = false;
        let mut from_mm = step.from.map(|v| v as f32);
        for i in 0..count as u32 {
            let laid = self.nozzle.lay(part_mm3);
            let Some(pieces) = into.as_deref_mut() else {
                continue;
            };
            let colour = laid.map(|shares| self.shown(shares));
            let to_mm = step.at(f64::from(i + 1) / count).map(|v| v as f32);
            match pieces.last_mut() {
                Some(last) if begun && last.colour == colour && !curved => {
                    last.to_mm = to_mm;
                    last.volume_mm3 += part_mm3 as f32;
                }
                _ => pieces.push(Piece {
                    from_mm,
                    to_mm,
                    volume_mm3: part_mm3 as f32,
                    line,
                    colour,
                }),
            }
            begun = true;
            from_mm = to_mm;
        }
    }

    fn shown(&mut self, shares: Shares) -> Srgb {
        if let Some((known, colour)) = self.colour
            && known == shares
        {
            return colour;
        }
        let colour = self.replayed.painted.model().mix(&shares).to_srgb();
        self.colour = Some((shares, colour));
        colour
    }
}
