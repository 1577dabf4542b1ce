//! A toolpath in sections: plastic of one height with nothing in it that must not be passed.

use std::io::Read;
use std::rc::Rc;

use toolpath::{Cautions, MachineState, ReadError, Replay, Settings};

use super::lines::{Held, Kind, Settled, setting};

/// Heights nearer than this are one layer's, mm.
const SAME_HEIGHT_MM: f64 = 1e-4;

/// So many lines of what climbs, or of what can't be moved, are held at once.
const MOST_FIXED: usize = 20_000;

/// The most lines of one section that may be moved: more are left in order.
const MOST_LINES: usize = 400_000;

/// Lines from the end of one section's plastic to the end of the next one's.
#[derive(Debug, Default)]
pub(super) struct Section {
    /// What comes before its plastic: travels, settings, everything.
    pub lead: Vec<Held>,
    /// From its first line that lays plastic to its last; may be empty at the end of a file.
    pub body: Vec<Held>,
    /// Height of the nozzle, mm.
    pub top_mm: f64,
    /// It must stay in order: it climbs, or is of a form that can't be moved.
    pub fixed: bool,
    /// The machine after it.
    pub after: Option<MachineState>,
    /// The settings in force after it.
    pub set: Rc<Settled>,
}

/// Hands out sections one by one; put together their lines are the file.
pub(super) struct Sections<R> {
    replay: Replay<R>,
    set: Rc<Settled>,
    /// Lines after the plastic of the last section.
    next: Vec<Held>,
    ended: bool,
    /// Bytes read.
    pub offset: u64,
    /// An end of line.
    pub end: Vec<u8>,
    /// The file has checksums.
    pub checked: bool,
    /// It has line numbers.
    pub numbered: bool,
}

impl<R: Read> Sections<R> {
    /// Doubts about the lines that were read so far.
    pub(super) fn cautions(&self) -> &Cautions {
        self.replay.cautions()
    }

    pub(super) fn new(file: R, settings: Settings) -> Self {
        Self {
            replay: Replay::new(file, settings),
            set: Rc::default(),
            next: Vec::new(),
            ended: false,
            offset: 0,
            end: Vec::new(),
            checked: false,
            numbered: false,
        }
    }

    /// The next section; `None` at the end.
    pub(super) fn next(&mut self) -> Result<Option<Section>, ReadError> {
        if self.ended {
            return Ok(None);
        }
        let mut lines = std::mem::take(&mut self.next);
        // Of the plastic: first and one past the last line.
        let mut body: Option<(usize, usize)> = None;
        let mut top_mm = 0.0;
        let mut fixed = false;
        let mut look = 0;
        loop {
            let index = match look < lines.len() {
                true => look,
                false => match self.hold()? {
                    Some(held) => {
                        lines.push(held);
                        lines.len() - 1
                    }
                    None => {
                        self.ended = true;
                        break;
                    }
                },
            };
            look = index + 1;
            let Some(held) = lines.get(index) else { break };
            let wall = matches!(held.kind, Kind::Wall);
            if let Kind::Print(step) = &held.kind {
                let high = step.from[2].max(step.to[2]);
                let climbs = (step.from[2] - step.to[2]).abs() > SAME_HEIGHT_MM;
                match &mut body {
                    None => {
                        body = Some((index, index + 1));
                        top_mm = high;
                        fixed = climbs;
                    }
                    Some((first, last)) => {
                        let other = match fixed {
                            true => !climbs || *last - *first > MOST_FIXED,
                            false => climbs || (high - top_mm).abs() > SAME_HEIGHT_MM,
                        };
                        if other {
                            break;
                        }
                        *last = index + 1;
                        top_mm = top_mm.max(high);
                    }
                }
            } else if let Some((first, last)) = body {
                if wall || index - first > MOST_LINES || index - last > MOST_FIXED {
                    break;
                }
            } else if index > MOST_FIXED {
                // A long stretch without plastic.
                break;
            }
        }
        // What came after the last plastic leads on to the next section.
        let (first, last) = body.unwrap_or((lines.len(), lines.len()));
        self.next = lines.split_off(last.min(lines.len()));
        if self.ended && body.is_some() && !self.next.is_empty() {
            // The rest of the file comes as a last section without plastic.
            self.ended = false;
        }
        let held = lines.split_off(first.min(lines.len()));
        let (after, set) = match self.next.first() {
            Some(next) => (next.before, Rc::clone(&next.set)),
            None => (*self.replay.state(), Rc::clone(&self.set)),
        };
        Ok(Some(Section {
            lead: lines,
            body: held,
            top_mm,
            fixed,
            after: Some(after),
            set,
        }))
    }

    fn hold(&mut self) -> Result<Option<Held>, ReadError> {
        let in_comment = self.replay.in_comment();
        let Some(seen) = self.replay.advance()? else {
            return Ok(None);
        };
        let line = &seen.line;
        if self.end.is_empty() {
            self.end = line.end().to_vec();
        }
        self.checked |= line.checksum().is_some();
        self.numbered |= line.line_number().is_some();
        let mut held = Held::of(line, seen.step, seen.before, seen.after, &self.set);
        if in_comment || line.goes_on() {
            held.kind = Kind::Wall;
        }
        if held.kind == Kind::Setting
            && let Some(key) = setting(line)
        {
            let (next, known) = self.set.with(key, held.bare().to_vec());
            self.set = Rc::new(next);
            if !known {
                // What it was before can't be told, so it can't be set back.
                held.kind = Kind::Wall;
            }
        }
        self.offset = self.replay.offset();
        Ok(Some(held))
    }
}
