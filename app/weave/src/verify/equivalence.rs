//! A woven toolpath beside the one it came from: the same places, filament and lines, in the
//! same order.

use std::io::Read;

use geometry::Progress;
use toolpath::{Form, Line, Move, Replay, Settings, Step};

use crate::WeaveError;
use crate::dialect::{Heard, Listener};

/// What the comparison found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Equivalence {
    /// Moves of the toolpath from before.
    pub moves: u64,
    /// Moves that are in pieces now.
    pub cut: u64,
    /// Largest distance of a place from where it was, mm.
    pub place_mm: f64,
    /// Largest distance of a cut from its move's way, mm.
    pub way_mm: f64,
    /// Filament of the whole file, now less before, mm.
    pub filament_mm: f64,
    /// Lines that were added and are none of the dialect's or comments: none if all is well.
    pub strange: u64,
    /// The first thing that is not the same.
    pub first_difference: Option<String>,
}

impl Equivalence {
    /// Whether it is the same print but for its blends.
    pub fn holds(&self) -> bool {
        self.first_difference.is_none() && self.filament_mm.abs() <= FILAMENT_MM
    }
}

/// Places, cuts and filament may differ by rounding of the numbers' last decimals.
const PLACE_MM: f64 = 2e-6;
const WAY_MM: f64 = 1e-3;
const MOVE_FILAMENT_MM: f64 = 2e-6;
const FILAMENT_MM: f64 = 1e-6;

/// What a line is for the comparison.
enum Event {
    Move(Move),
    /// Any other line, without its number and checksum.
    Other(Vec<u8>),
}

struct Stream<R> {
    replay: Replay<R>,
    fed_mm: f64,
}

/// An event and where it was.
struct Seen {
    event: Event,
    line: u64,
    /// It is the dialect's or a comment, and may have been put in.
    may_be_added: bool,
}

impl<R: Read> Stream<R> {
    fn next(&mut self, listener: Option<&mut Listener>) -> Result<Option<Seen>, WeaveError> {
        let Some(seen) = self.replay.advance()? else {
            return Ok(None);
        };
        let heard = listener.map_or(Heard::Nothing, |l| l.hear(&seen.line));
        let line = seen.line.number();
        let event = match seen.step {
            Step::Move(step) => {
                self.fed_mm += step.extruded_mm;
                Event::Move(step)
            }
            _ => Event::Other(bare(&seen.line)),
        };
        Ok(Some(Seen {
            may_be_added: heard != Heard::Nothing || seen.line.form() == Form::Quiet,
            event,
            line,
        }))
    }
}

/// A line without its number, its checksum and its end.
fn bare(line: &Line<'_>) -> Vec<u8> {
    let body = line.body();
    let from = line.line_number().map_or(0, |n| n.to as usize);
    let mut text = Vec::new();
    match line.checksum() {
        Some(sum) => {
            text.extend_from_slice(body.get(from..sum.at as usize).unwrap_or_default());
            text.extend_from_slice(body.get(sum.to as usize..).unwrap_or_default());
        }
        None => text.extend_from_slice(body.get(from..).unwrap_or_default()),
    }
    text
}

/// Runs both files side by side.
///
/// # Errors
/// When one can't be read, or when cancelled.
pub fn compare(
    before: impl Read,
    after: impl Read,
    settings: Settings,
    listener: &mut Listener,
    size_bytes: u64,
    progress: &Progress,
) -> Result<Equivalence, WeaveError> {
    let mut before = Stream {
        replay: Replay::new(before, settings),
        fed_mm: 0.0,
    };
    let mut after = Stream {
        replay: Replay::new(after, settings),
        fed_mm: 0.0,
    };
    let mut found = Equivalence::default();
    let mut next_look = 0;
    while let Some(wanted) = before.next(None)? {
        match &wanted.event {
            Event::Move(whole) => {
                found.moves += 1;
                take_move(whole, wanted.line, &mut after, listener, &mut found)?;
            }
            Event::Other(text) => {
                take_other(text, wanted.line, &mut after, listener, &mut found)?;
            }
        }
        if found.first_difference.is_some() {
            break;
        }
        let offset = after.replay.offset();
        if offset >= next_look {
            next_look = offset + (1 << 20);
            progress.set(offset as f32 / size_bytes.max(1) as f32);
            progress.check()?;
        }
    }
    if found.first_difference.is_none() {
        while let Some(rest) = after.next(Some(listener))? {
            if !rest.may_be_added || matches!(rest.event, Event::Move(_)) {
                found.strange += 1;
                let line = rest.line;
                found.first_difference = Some(format!("line {line} of the woven file is new"));
                break;
            }
        }
        found.filament_mm = after.fed_mm - before.fed_mm;
    }
    Ok(found)
}

/// Finds a line that is no move, passing over what was put in.
fn take_other<R: Read>(
    text: &[u8],
    line: u64,
    after: &mut Stream<R>,
    listener: &mut Listener,
    found: &mut Equivalence,
) -> Result<(), WeaveError> {
    loop {
        let Some(seen) = after.next(Some(listener))? else {
            found.first_difference = Some(format!("line {line} of the toolpath is missing"));
            return Ok(());
        };
        match &seen.event {
            Event::Other(there) if there == text => return Ok(()),
            Event::Other(_) if seen.may_be_added => {}
            _ => {
                found.strange += 1;
                found.first_difference = Some(format!(
                    "line {} of the woven file does not match line {line} of the toolpath",
                    seen.line
                ));
                return Ok(());
            }
        }
    }
}

/// Finds a move, whole or in pieces.
fn take_move<R: Read>(
    whole: &Move,
    line: u64,
    after: &mut Stream<R>,
    listener: &mut Listener,
    found: &mut Equivalence,
) -> Result<(), WeaveError> {
    let mut fed_mm = 0.0;
    let mut gone_mm = 0.0;
    let mut pieces = 0;
    let length_mm = whole.length_mm();
    loop {
        let Some(seen) = after.next(Some(listener))? else {
            found.first_difference = Some(format!("the move of line {line} is missing"));
            return Ok(());
        };
        let piece = match &seen.event {
            Event::Move(piece) => piece,
            Event::Other(_) if seen.may_be_added => continue,
            Event::Other(_) => {
                found.strange += 1;
                found.first_difference =
                    Some(format!("line {} of the woven file is new", seen.line));
                return Ok(());
            }
        };
        pieces += 1;
        fed_mm += piece.extruded_mm;
        gone_mm += piece.length_mm();
        let off_mm = distance(piece.to, whole.to);
        let fed_off_mm = (fed_mm - whole.extruded_mm).abs();
        if off_mm <= PLACE_MM && fed_off_mm <= MOVE_FILAMENT_MM {
            if (piece.feed_mm_min - whole.feed_mm_min).abs() > 1e-6 {
                found.first_difference = Some(format!(
                    "line {} of the woven file goes at {} mm/min and not at {}, as line {line} of \
                     the toolpath",
                    seen.line, piece.feed_mm_min, whole.feed_mm_min
                ));
                return Ok(());
            }
            found.place_mm = found.place_mm.max(off_mm);
            found.cut += u64::from(pieces > 1);
            return Ok(());
        }
        // A cut: it must lie on the way.
        let t = match length_mm > 0.0 {
            true => gone_mm / length_mm,
            false => 2.0,
        };
        let way_mm = distance(piece.to, whole.at(t.min(1.0)));
        // No piece stands still or draws back unless the move does.
        let back = piece.extruded_mm < 0.0 && whole.extruded_mm >= 0.0;
        let still = !piece.travels() && whole.travels();
        let speed = (piece.feed_mm_min - whole.feed_mm_min).abs() > 1e-6;
        if t > 1.0 + 1e-6 || way_mm > WAY_MM || piece.rapid != whole.rapid || back || still || speed
        {
            found.first_difference = Some(format!(
                "line {} of the woven file leaves the path of line {line} of the toolpath",
                seen.line
            ));
            return Ok(());
        }
        found.way_mm = found.way_mm.max(way_mm);
    }
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    let [x, y, z] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    x.hypot(y).hypot(z)
}
