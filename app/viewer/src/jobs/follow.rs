//! Makes a woven file ready to be stepped through: an index of its layers, then a layer at a
//! time, as strands to draw.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::SystemTime;

use blend::Srgb;
use geometry::{DVec3, Progress};
use plan::Painted;
use toolpath::Settings;
use weave::dialect::Dialect;
use weave::register::Placement;
use weave::standing_blocks::StandingBlocks;
use weave::verify::deposition::{Piece, Replayed};
use weave::verify::follow::{Index, LayerMoves};
use weave::verify::stands_or_found;

use super::Stop;
use super::toolpath_file::{Part, open_at, read_dialect, stop, with_source};
use crate::model::draft::Reading;
use crate::model::strands::{StrandMesh, colour_of, strands};

/// What to open.
pub struct Order {
    /// The plan as it stands, on its part.
    pub part: Part,
    /// How the file is read.
    pub reading: Reading,
    /// The woven file.
    pub file: PathBuf,
}

/// What tells that a file was changed: its length and when it was written.
type Stamp = (u64, Option<SystemTime>);

/// A woven file whose layers are known.
pub struct Opened {
    /// The plan's revision.
    pub revision: u64,
    /// The file.
    pub file: PathBuf,
    /// Where the copy stands that lies on the part on the stage.
    pub stand: Placement,
    /// How many copies there are.
    pub copies: usize,
    /// Where the layers are in it.
    pub index: Index,
    /// The room that its head declares for purge blocks.
    pub blocks: Option<Arc<StandingBlocks>>,
    painted: Painted,
    dialect: Dialect,
    settings: Settings,
    stamp: Stamp,
}

/// A layer to be drawn and stepped through.
#[derive(Debug)]
pub struct Layer {
    /// Which it is, from the bed.
    pub index: usize,
    /// Height of its underside above the part's bed, mm.
    pub bottom_mm: f64,
    /// Height of its top above the part's bed, mm.
    pub top_mm: f64,
    /// Its moves, on the part as it is on the stage.
    pub moves: LayerMoves,
    /// Its strands.
    pub mesh: Arc<StrandMesh>,
    /// Its colours in the order of printing, evenly spread over its filament.
    pub strip: Vec<Srgb>,
}

/// Colours in a layer's strip.
pub const STRIP: usize = 640;

fn stamp_of(path: &std::path::Path) -> Stamp {
    std::fs::metadata(path).map_or((0, None), |m| (m.len(), m.modified().ok()))
}

/// Looks for the layers.
///
/// # Errors [`Stop`] in words when the file can't be read or the part is not found in it, or when
/// cancelled.
pub fn open(order: Order, progress: &Progress) -> Result<Opened, Stop> {
    let Order {
        part,
        reading,
        file,
    } = order;
    let revision = part.revision;
    let dialect = read_dialect(&reading.dialect)?;
    let painted = part.painted(progress)?;
    let stamp = stamp_of(&file);
    let (stands, index, blocks) = with_source(&file, |woven| {
        let failed = |error| stop(error, &file);
        let (given, settings) = (reading.stands, reading.settings);
        let stands = stands_or_found(given, &painted, woven, settings, progress).map_err(failed)?;
        let replayed = replayed(&painted, &dialect, reading.settings);
        let index = Index::of(&replayed, woven, progress).map_err(failed)?;
        let stand = stands.first().copied().unwrap_or_default();
        let blocks = StandingBlocks::declared(woven, stand).map_err(failed)?;
        Ok((stands, index, blocks))
    })?;
    if index.layers.is_empty() {
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        return Err(Stop::Failed(format!(
            "{name}: this toolpath prints nothing"
        )));
    }
    Ok(Opened {
        revision,
        file,
        stand: stands.first().copied().unwrap_or_default(),
        copies: stands.len(),
        index,
        blocks,
        painted,
        dialect,
        settings: reading.settings,
        stamp,
    })
}

fn replayed<'a>(painted: &'a Painted, dialect: &'a Dialect, settings: Settings) -> Replayed<'a> {
    Replayed {
        painted,
        dialect,
        settings,
        heights_mm: f64::MIN..=f64::MAX,
    }
}

impl Opened {
    /// The plan that it is looked at with.
    pub fn painted(&self) -> &Painted {
        &self.painted
    }

    /// Heights of a layer's underside and top above the part's bed, mm.
    pub fn heights_mm(&self, layer: usize) -> Option<(f64, f64)> {
        let lift_mm = self.stand.lift_mm;
        let top_of = |i: usize| self.index.layers.get(i).map(|l| l.top_mm - lift_mm);
        let top = top_of(layer)?;
        let below = layer.checked_sub(1).and_then(top_of);
        let plain = self.painted.plan().layers.layer_mm;
        let thick = match below {
            Some(below) => top - below,
            None if top > 0.0 => top,
            None => plain,
        };
        // Heights that only a skirt or another copy has are no layers of the part.
        let sound = thick > 0.1 * plain && thick < 4.0 * plain;
        Some((top - if sound { thick } else { plain }, top))
    }

    /// The layer at a height above the part's bed, mm.
    pub fn layer_at(&self, height_mm: f64) -> Option<usize> {
        self.index.layer_at(height_mm + self.stand.lift_mm)
    }
}

/// Reads a layer.
///
/// # Errors [`Stop`] in words when the file can't be read or was changed since, or when cancelled.
pub fn layer(opened: &Opened, which: usize, progress: &Progress) -> Result<Layer, Stop> {
    if stamp_of(&opened.file) != opened.stamp {
        let name = opened.file.file_name().unwrap_or_default();
        return Err(Stop::Failed(format!(
            "{} was changed since it was opened; follow it again",
            name.to_string_lossy()
        )));
    }
    let replayed = replayed(&opened.painted, &opened.dialect, opened.settings);
    let open = |at| open_at(&opened.file, at);
    let mut moves = opened
        .index
        .layer(which, &replayed, &open, progress)
        .map_err(|error| stop(error, &opened.file))?;
    on_the_part(&mut moves.pieces, &opened.stand);
    let (bottom_mm, top_mm) = opened.heights_mm(which).unwrap_or_default();
    let nozzle_mm = opened.painted.plan().machine.nozzle_mm;
    progress.check()?;
    Ok(Layer {
        index: which,
        bottom_mm,
        top_mm,
        mesh: Arc::new(strands(&moves, top_mm - bottom_mm, nozzle_mm)),
        strip: strip(&moves),
        moves,
    })
}

/// From the plate to the part on the stage.
fn on_the_part(pieces: &mut [Piece], stand: &Placement) {
    let moved = |at: [f32; 3]| {
        let at = stand.to_part(DVec3::from(at.map(f64::from)));
        at.to_array().map(|v| v as f32)
    };
    for piece in pieces {
        (piece.from_mm, piece.to_mm) = (moved(piece.from_mm), moved(piece.to_mm));
    }
}

/// The colours evenly spread over the filament.
fn strip(layer: &LayerMoves) -> Vec<Srgb> {
    let total: f64 = layer.pieces.iter().map(|p| f64::from(p.volume_mm3)).sum();
    let mut pieces = layer.pieces.iter();
    let mut piece = pieces.next();
    let mut up_to = piece.map_or(0.0, |p| f64::from(p.volume_mm3));
    let mut colours = Vec::with_capacity(STRIP);
    for i in 0..STRIP {
        let at = (i as f64 + 0.5) / STRIP as f64 * total;
        while at > up_to
            && let Some(next) = pieces.next()
        {
            up_to += f64::from(next.volume_mm3);
            piece = Some(next);
        }
        let Some(piece) = piece else { break };
        colours.push(colour_of(piece));
    }
    colours
}
