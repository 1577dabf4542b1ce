//! One pass over the toolpath that learns what it asks for, in the order of printing.

use std::io::Read;

use blend::Shares;
use geometry::Progress;
use plan::schedule::Asked;
use toolpath::{
    CautionKind, Cautions, MachineState, Move, Replay, Settings, Step, filament_area_mm2,
};

use super::WeaveError;
use super::asking::Asking;
use super::behind::Behind;
use super::overrides::Overrides;
use super::register::Placement;

/// Plastic in a row that asks for the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Demand {
    /// Its volume, mm³.
    pub volume_mm3: f64,
    /// The blend, as an index into [`Survey::blends`]; `None` if it is never seen.
    pub blend: Option<u32>,
    /// Height of the nozzle above the part's bed where it begins, mm.
    pub height_mm: f64,
}

impl Demand {
    /// Adds it to those before it: to the last one, if that asks for the same.
    #[inline]
    pub(super) fn add_to(self, demands: &mut Vec<Self>) {
        match demands.as_mut_slice() {
            [.., last] if last.blend == self.blend => last.volume_mm3 += self.volume_mm3,
            // A sliver that was not cut off claims no plastic that is never seen: all of that is
            // for the change.
            [.., before, seen, free]
                if free.blend.is_none()
                    && seen.blend == self.blend
                    && seen.volume_mm3 < SLIVER_MM3
                    && before.blend != self.blend =>
            {
                before.volume_mm3 += seen.volume_mm3;
                match before.blend {
                    Some(_) => *seen = *free,
                    None => before.volume_mm3 += free.volume_mm3,
                }
                let gone = if before.blend.is_some() { 1 } else { 2 };
                demands.truncate(demands.len() - gone);
                demands.push(self);
            }
            // Back to the blend from before some plastic that is never seen.
            [.., seen, free] if free.blend.is_none() && seen.blend == self.blend => {
                seen.volume_mm3 += free.volume_mm3 + self.volume_mm3;
                demands.pop();
            }
            _ => demands.push(self),
        }
    }
}

/// A place from which the file can be read on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Checkpoint {
    /// Bytes before it.
    pub bytes: u64,
    /// Lines before it.
    pub lines: u64,
    /// Plastic laid down before it, mm³.
    pub volume_mm3: f64,
    /// The machine there.
    pub state: MachineState,
}

/// What a toolpath asks for.
#[derive(Clone, Debug, Default)]
pub(crate) struct Survey {
    /// What it asks for, in the order of printing. Plastic that is never seen is told apart
    /// only between two blends; within one it counts with it, so that there are no more than
    /// twice as many demands as changes of blend.
    pub demands: Vec<Demand>,
    /// Stretches of plastic that ask for another blend than the one before, or for none.
    pub stretches: u64,
    /// The blends that occur.
    pub blends: Vec<Shares>,
    /// All plastic, mm³.
    pub volume_mm3: f64,
    /// Moves that lay plastic.
    pub printing_moves: u64,
    /// Bytes of the file.
    pub bytes: u64,
    /// Bytes before the first line that feeds plastic.
    pub first_print_bytes: Option<u64>,
    /// Height of the highest plastic above the plate, mm.
    pub highest_mm: f64,
    /// The end of line of the first line that has one.
    pub end: Vec<u8>,
    /// The file has checksums, so its line numbers matter.
    pub checked: bool,
    /// Line at which another tool is chosen after plastic of the part was laid.
    pub tool_line: Option<u64>,
    /// A tool is chosen after plastic was fed, be it the same: a dialect that chooses its blends
    /// like tools has to choose again.
    pub chooses: bool,
    /// Nothing but moves follows the last plastic: no line ends the print.
    pub ends_printing: bool,
    /// The last line has no end, and moves.
    pub ends_amid: bool,
    /// The nozzle comes down again by layers: copies are printed one after another.
    pub comes_down: bool,
    /// Doubts about the file.
    pub cautions: Cautions,
    /// Places to read on from.
    pub checkpoints: Vec<Checkpoint>,
}

impl Survey {
    /// Whether a part of a height, mm, was printed to its top.
    ///
    /// # Errors
    /// [`WeaveError::CutOff`] or [`WeaveError::OtherHeight`].
    pub(super) fn of_height(
        &self,
        part_mm: f64,
        lift_mm: f64,
        layer_mm: f64,
    ) -> Result<(), WeaveError> {
        let printed_mm = self.highest_mm - lift_mm;
        // Towers may be a little higher than the part, and the last layer may be left out.
        if (printed_mm - part_mm).abs() <= 1.5 * layer_mm.max(0.2) {
            return Ok(());
        }
        let cut_off = (self.ends_printing || self.ends_amid) && printed_mm < part_mm;
        Err(match cut_off {
            true => WeaveError::CutOff {
                printed_mm,
                part_mm,
            },
            false => WeaveError::OtherHeight {
                printed_mm,
                part_mm,
            },
        })
    }

    /// What the file lacks at its end, as far as that shows; the part's top is at `top_mm` above
    /// the plate.
    pub(super) fn missing(&self, top_mm: f64, layer_mm: f64) -> Option<String> {
        /// Slicers leave out a last layer of less than half a layer's height (common practice, no
        /// source).
        const MOST_LEFT_OUT: f64 = 0.6;
        if self.ends_amid {
            return Some(
                "The toolpath ends in the middle of a line: it is cut off. Export it again"
                    .to_owned(),
            );
        }
        let below_mm = top_mm - self.highest_mm;
        (below_mm > MOST_LEFT_OUT * layer_mm).then(|| {
            format!(
                "The toolpath ends {below_mm:.2} mm below the part's top: its last layer is \
                 missing. Slice the part again, unless you meant that"
            )
        })
    }
}

/// Checkpoints are no nearer to each other than this, bytes: a small part of what is then
/// copied without being read.
const BETWEEN_CHECKPOINTS: u64 = 64 * 1024;

/// No more checkpoints than this, so that they take the same memory whatever the file's size.
const MOST_CHECKPOINTS: u64 = 4096;

/// Less plastic than this is a sliver, mm³: half a millimetre of a line.
pub(super) const SLIVER_MM3: f64 = 0.06;

/// What a plan wants of a toolpath.
pub(super) struct Wanted<'a> {
    pub asked: &'a Asked<'a>,
    /// What is laid in place of it, if the plan says so.
    pub overrides: Option<&'a Overrides>,
    /// Where the copies stand.
    pub stands: &'a [Placement],
}

/// Reads the whole file.
///
/// # Errors
/// When it can't be read, or when cancelled.
pub(super) fn survey(
    file: impl Read,
    size_bytes: u64,
    settings: Settings,
    wanted: &Wanted<'_>,
    progress: &Progress,
) -> Result<Survey, WeaveError> {
    let asked = wanted.asked;
    progress.stage("Following the toolpath through the plan");
    let filament_mm = asked
        .painted()
        .plan()
        .spools
        .first()
        .map_or(1.75, |s| s.diameter_mm);
    let area_mm2 = filament_area_mm2(filament_mm);
    let mut replay = Replay::new(file, settings);
    let mut walk = Walk {
        asking: Asking::new(asked, wanted.overrides, wanted.stands),
        behind: Behind::new(asked.painted()),
        found: Survey::default(),
        last_blend: None,
        seen: None,
        free_mm3: 0.0,
        stretches: Vec::new(),
    };
    let between = (size_bytes / MOST_CHECKPOINTS).max(BETWEEN_CHECKPOINTS);
    let mut next_checkpoint = 0;
    let mut next_look = 0;
    let mut highest_print = f64::MIN;
    let mut tool_in_use = 0;
    loop {
        let bytes = replay.offset();
        // What goes on with a comment can't be read for itself.
        if bytes >= next_checkpoint && !replay.in_comment() {
            next_checkpoint = bytes + between;
            walk.found.checkpoints.push(Checkpoint {
                bytes,
                lines: replay.lines(),
                volume_mm3: walk.found.volume_mm3,
                state: *replay.state(),
            });
        }
        let Some(seen) = replay.skim()? else {
            break;
        };
        if walk.found.end.is_empty() {
            walk.found.end = seen.end().to_vec();
        }
        walk.found.checked |= seen.checked;
        walk.found.ends_amid = false;
        match seen.step {
            Step::Move(step) => {
                walk.found.ends_printing |= step.extruded_mm > 0.0;
                walk.found.ends_amid = seen.end().is_empty();
            }
            // A blank line or a comment tells nothing.
            _ => {
                let mut inked = seen.bytes.iter().filter(|b| !b.is_ascii_whitespace());
                if inked.next().is_some_and(|b| b"MmTt".contains(b)) {
                    walk.found.ends_printing = false;
                }
            }
        }
        match seen.step {
            Step::Move(step) if step.extruded_mm > 0.0 => {
                if walk.found.first_print_bytes.is_none() {
                    walk.found.first_print_bytes = Some(bytes);
                }
                walk.take(step, area_mm2);
                let z = step.to[2];
                if step.prints() {
                    walk.found.comes_down |= z < highest_print - 1.0;
                    highest_print = highest_print.max(z);
                }
            }
            Step::Tool(tool) => {
                // The tool that prints is chosen in the start code, after a prime line at the
                // latest; without a choice it is the first.
                if tool_in_use != *tool && !walk.asking.blends.is_empty() {
                    walk.found.tool_line.get_or_insert(seen.number);
                }
                tool_in_use = *tool;
                walk.found.chooses |= walk.found.first_print_bytes.is_some();
            }
            _ => {}
        }
        if bytes >= next_look {
            next_look = bytes + (1 << 20);
            progress.set(bytes as f32 / size_bytes.max(1) as f32);
            progress.check()?;
        }
    }
    walk.found.blends = walk.asking.blends;
    walk.found.bytes = replay.offset();
    // Nothing is left to be read from the end on.
    let bytes = walk.found.bytes;
    walk.found.checkpoints.pop_if(|last| last.bytes == bytes);
    walk.found.cautions = replay.cautions().clone();
    let mut told = walk.found.cautions.as_slice().iter();
    if let Some(caution) = told.find(|c| c.kind == CautionKind::UnknownFlow) {
        return Err(WeaveError::UnknownFlow {
            line: caution.first_line,
        });
    }
    walk.found.highest_mm = highest_print;
    Ok(walk.found)
}

struct Walk<'a> {
    asking: Asking<'a>,
    behind: Behind<'a>,
    found: Survey,
    /// What the last stretch asked for.
    last_blend: Option<Option<u32>>,
    /// The last blend that is seen,
    seen: Option<u32>,
    /// and plastic since then, mm³.
    free_mm3: f64,
    /// Room for a move's stretches.
    stretches: Vec<(f64, Option<u32>)>,
}

impl Walk<'_> {
    fn take(&mut self, step: &Move, area_mm2: f64) {
        let volume_mm3 = step.fresh_mm * area_mm2;
        let height_mm = step.from[2];
        if !step.travels() {
            // A prime: plastic at one spot, off the part or on a line's start.
            return self.put(volume_mm3, None, step.to[2]);
        }
        self.found.printing_moves += 1;
        let mut stretches = std::mem::take(&mut self.stretches);
        stretches.clear();
        self.asking.stretches(step, |from, to, blend| {
            stretches.push((volume_mm3 * (to - from), blend));
        });
        for (volume_mm3, blend) in &stretches {
            let blend = blend.filter(|blend| !self.settles(*blend, *volume_mm3, step));
            self.put(*volume_mm3, blend, height_mm);
        }
        self.stretches = stretches;
    }

    /// Whether a stretch of a move lies behind its blend's skin, with room enough before it
    /// that it may take up the end of the change to that blend. A sliver there, such as the end
    /// of a line of filling, keeps no blend waiting either.
    fn settles(&mut self, blend: u32, volume_mm3: f64, step: &Move) -> bool {
        let enough = match self.seen {
            None => false,
            Some(seen) if seen == blend => self.free_mm3 > 0.0 && volume_mm3 < SLIVER_MM3,
            Some(seen) => self.free_mm3 >= self.behind.room_mm3(&self.asking.blends, seen, blend),
        };
        enough && self.asking.in_front(step) == 0.0
    }

    fn put(&mut self, volume_mm3: f64, blend: Option<u32>, height_mm: f64) {
        match blend {
            Some(_) => (self.seen, self.free_mm3) = (blend, 0.0),
            None => self.free_mm3 += volume_mm3,
        }
        push(
            &mut self.found,
            &mut self.last_blend,
            volume_mm3,
            blend,
            height_mm,
        );
    }
}

fn push(
    found: &mut Survey,
    last_blend: &mut Option<Option<u32>>,
    volume_mm3: f64,
    blend: Option<u32>,
    height_mm: f64,
) {
    if volume_mm3 <= 0.0 {
        return;
    }
    found.volume_mm3 += volume_mm3;
    found.stretches += u64::from(*last_blend != Some(blend));
    *last_blend = Some(blend);
    let demand = Demand {
        volume_mm3,
        blend,
        height_mm,
    };
    demand.add_to(&mut found.demands);
}
