//! The purge blocks as they stand on the plate beside the part: for a picture of both.

use std::io::Read;
use std::sync::Arc;

use crate::arrange::PlacedBlock;
use crate::register::Placement;
use crate::verify::laws::Declared;
use crate::{Source, WeaveError, Woven};

/// A part of a block that goes straight up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlockStep {
    /// Height of its top above the plate, mm; it stands on the step below, or on the plate.
    pub top_mm: f64,
    /// Its low corner on the plate, mm.
    pub low_mm: [f64; 2],
    /// Its high corner, mm.
    pub high_mm: [f64; 2],
}

/// A purge block.
#[derive(Clone, Debug, PartialEq)]
pub struct StandingBlock {
    /// From the plate up; the lowest has the brim. Never empty.
    pub steps: Vec<BlockStep>,
    /// Its mass, g. A woven file declares only the room that a block takes, and then it is
    /// unknown.
    pub mass_g: Option<f64>,
}

/// All purge blocks, and where the part stands beside them.
#[derive(Clone, Debug, PartialEq)]
pub struct StandingBlocks {
    /// The blocks; never none. Where copies are printed one after another, one for each.
    pub blocks: Vec<StandingBlock>,
    /// Where the first copy of the part stands on the same plate.
    pub part: Placement,
}

/// A head declares lengths to 0.001 mm.
const DECLARED_MM: f64 = 2e-3;

impl Woven {
    /// The purge blocks as they will stand; `None` if there are none.
    pub fn standing_blocks(&self) -> Option<Arc<StandingBlocks>> {
        let part = self.registered.stands.first().map(|stand| stand.placement);
        let arranged = self.arranged.as_ref()?;
        let g_mm3 = arranged.block_g / arranged.block_mm3.max(1e-9);
        let blocks = arranged.blocks.iter();
        let blocks = blocks.map(|placed| planned(placed, g_mm3)).collect();
        StandingBlocks::of(blocks, part.unwrap_or_default())
    }
}

fn planned(PlacedBlock { block, levels }: &PlacedBlock, g_mm3: f64) -> StandingBlock {
    let mut steps: Vec<BlockStep> = levels
        .iter()
        .map(|level| {
            let (low_mm, high_mm) = block.square_mm(level.side_mm);
            BlockStep {
                top_mm: level.top_mm,
                low_mm,
                high_mm,
            }
        })
        .collect();
    let brim_mm = block.brim_mm();
    if let Some(foot) = steps.first_mut() {
        foot.low_mm = foot.low_mm.map(|v| v - brim_mm);
        foot.high_mm = foot.high_mm.map(|v| v + brim_mm);
    }
    let volume_mm3: f64 = levels.iter().map(|level| level.volume_mm3).sum();
    StandingBlock {
        steps,
        mass_g: Some(g_mm3 * volume_mm3),
    }
}

impl StandingBlocks {
    fn of(mut blocks: Vec<StandingBlock>, part: Placement) -> Option<Arc<Self>> {
        blocks.retain(|block| !block.steps.is_empty());
        (!blocks.is_empty()).then(|| Arc::new(Self { blocks, part }))
    }

    /// The room for blocks that a woven file's head declares; `None` if it declares none.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn declared(woven: &Source<'_>, part: Placement) -> Result<Option<Arc<Self>>, WeaveError> {
        let mut head = Vec::new();
        let mut file = woven.read()?.take(64 * 1024);
        file.read_to_end(&mut head).map_err(WeaveError::Open)?;
        let lines = head.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
        // What is no comment ends the head.
        let comments = lines.map_while(|line| line.strip_prefix(b";"));
        let blocks = comments.filter_map(Declared::of).map(|room| StandingBlock {
            steps: vec![BlockStep {
                top_mm: room.top_mm,
                low_mm: room.low_mm,
                high_mm: room.high_mm,
            }],
            mass_g: None,
        });
        Ok(Self::of(blocks.collect(), part))
    }

    /// Whether they may be the blocks of a file that declares `rooms`: each as high, and within.
    pub fn fits(&self, rooms: &Self) -> bool {
        let mut pairs = self.blocks.iter().zip(&rooms.blocks);
        self.blocks.len() == rooms.blocks.len() && pairs.all(|(block, room)| block.fits(room))
    }
}

impl StandingBlock {
    /// Low and high corner of all of it on the plate, mm, the brim included.
    pub fn bounds_mm(&self) -> ([f64; 3], [f64; 3]) {
        let mut steps = self.steps.iter();
        let Some(first) = steps.next() else {
            return ([0.0; 3], [0.0; 3]);
        };
        let ([x0, y0], [x1, y1]) = (first.low_mm, first.high_mm);
        let start = ([x0, y0, 0.0], [x1, y1, first.top_mm]);
        steps.fold(start, |(low, high), step| {
            let ([x0, y0], [x1, y1]) = (step.low_mm, step.high_mm);
            (
                [low[0].min(x0), low[1].min(y0), 0.0],
                [high[0].max(x1), high[1].max(y1), high[2].max(step.top_mm)],
            )
        })
    }

    fn fits(&self, room: &Self) -> bool {
        let ((low, high), (from, to)) = (self.bounds_mm(), room.bounds_mm());
        let within = |i: usize| {
            let of = |corner: [f64; 3]| corner.get(i).copied().unwrap_or(f64::NAN);
            of(low) >= of(from) - DECLARED_MM && of(high) <= of(to) + DECLARED_MM
        };
        within(0) && within(1) && (high[2] - to[2]).abs() < DECLARED_MM
    }
}
