//! A whole file, line by line, with what each line does.

use std::io::Read;

use crate::line::ending;
use crate::plain::Numbers;
use crate::{Cautions, Line, MachineState, ReadError, Reader, Settings, Step};

/// One line and what it did.
#[derive(Clone, Copy, Debug)]
pub struct Replayed<'a> {
    /// The line.
    pub line: Line<'a>,
    /// What it did.
    pub step: Step,
    /// The machine before it.
    pub before: &'a MachineState,
    /// The machine after it.
    pub after: &'a MachineState,
}

/// What one line did, for those who need no words.
#[derive(Clone, Copy, Debug)]
pub struct Skimmed<'a> {
    /// What it did.
    pub step: &'a Step,
    /// The line's place in the file, from 1.
    pub number: u64,
    /// The line, its end included.
    pub bytes: &'a [u8],
    /// It has a checksum.
    pub checked: bool,
}

impl<'a> Skimmed<'a> {
    /// The end of line: as [`Line::end`].
    pub fn end(&self) -> &'a [u8] {
        let body = self.bytes.len() - ending(self.bytes);
        self.bytes.get(body..).unwrap_or_default()
    }
}

/// Reads a file and carries the machine's state along.
#[derive(Debug)]
pub struct Replay<R> {
    reader: Reader<R>,
    before: MachineState,
    state: MachineState,
    /// What the line skimmed last did.
    step: Step,
    /// Of the plain move read last.
    numbers: Numbers,
    cautions: Cautions,
}

impl<R: Read> Replay<R> {
    /// Starts at the beginning of a file, with a machine that was just switched on.
    pub fn new(input: R, settings: Settings) -> Self {
        Self {
            reader: Reader::new(input),
            before: MachineState::new(settings),
            state: MachineState::new(settings),
            step: Step::Nothing,
            numbers: Numbers::default(),
            cautions: Cautions::new(),
        }
    }

    /// Goes on in the midst of a file, at the beginning of a line, with the machine as it was
    /// there; `lines` and `bytes` of the file went before.
    pub fn resumed(input: R, state: MachineState, lines: u64, bytes: u64) -> Self {
        Self {
            reader: Reader::resumed(input, lines, bytes),
            before: state,
            state,
            step: Step::Nothing,
            numbers: Numbers::default(),
            cautions: Cautions::new(),
        }
    }

    /// The next line and what it does; `None` at the end.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn advance(&mut self) -> Result<Option<Replayed<'_>>, ReadError> {
        let Some(line) = self.reader.next_line()? else {
            return Ok(None);
        };
        self.before = self.state;
        let step = self.state.apply(&line, &mut self.cautions);
        Ok(Some(Replayed {
            line,
            step,
            before: &self.before,
            after: &self.state,
        }))
    }

    /// As [`Replay::advance`], in a third of the time: plain moves are not taken apart into
    /// words.
    ///
    /// ```
    /// use toolpath::{Replay, Settings, Step};
    /// let mut replay = Replay::new(&b"M83\nG1 X10 E0.5\nG1 X20 E0.5"[..], Settings::default());
    /// let mut fed_mm = 0.0;
    /// while let Some(seen) = replay.skim()? {
    ///     if let Step::Move(step) = seen.step {
    ///         fed_mm += step.extruded_mm;
    ///     }
    /// }
    /// assert_eq!(fed_mm, 1.0);
    /// # Ok::<(), toolpath::ReadError>(())
    /// ```
    ///
    /// # Errors
    /// [`ReadError`].
    #[inline]
    pub fn skim(&mut self) -> Result<Option<Skimmed<'_>>, ReadError> {
        if let Some(plain) = self.reader.next_plain(&mut self.numbers) {
            let number = self.reader.lines();
            let (state, step) = (&mut self.state, &mut self.step);
            state.apply_plain(plain, &self.numbers, number, &mut self.cautions, step);
            return Ok(Some(Skimmed {
                step: &self.step,
                number,
                bytes: self.reader.last(plain.length),
                checked: false,
            }));
        }
        let Some(line) = self.reader.next_line()? else {
            return Ok(None);
        };
        self.step = self.state.apply(&line, &mut self.cautions);
        Ok(Some(Skimmed {
            step: &self.step,
            number: line.number(),
            bytes: line.bytes(),
            checked: line.checksum().is_some(),
        }))
    }

    /// The machine after the last line.
    pub fn state(&self) -> &MachineState {
        &self.state
    }

    /// Doubts met so far.
    pub fn cautions(&self) -> &Cautions {
        &self.cautions
    }

    /// Bytes read so far.
    pub fn offset(&self) -> u64 {
        self.reader.offset()
    }

    /// Lines read so far.
    pub fn lines(&self) -> u64 {
        self.reader.lines()
    }

    /// Whether the rest of a comment comes next: no place to read on from.
    pub fn in_comment(&self) -> bool {
        self.reader.in_comment()
    }
}
