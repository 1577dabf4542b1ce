//! A whole file, line by line, with what each line does.

use std::io::Read;

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

/// Reads a file and carries the machine's state along.
#[derive(Debug)]
pub struct Replay<R> {
    reader: Reader<R>,
    before: MachineState,
    state: MachineState,
    cautions: Cautions,
}

impl<R: Read> Replay<R> {
    /// Starts at the beginning of a file, with a machine that was just switched on.
    pub fn new(input: R, settings: Settings) -> Self {
        Self {
            reader: Reader::new(input),
            before: MachineState::new(settings),
            state: MachineState::new(settings),
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
}
