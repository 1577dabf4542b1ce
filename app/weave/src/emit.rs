//! The pass that writes: lines as they are, and blend commands where they belong.

use std::io::{self, Read, Write};

use geometry::Progress;
use plan::delivery::Command;
use toolpath::{
    MachineState, Move, Pieces, Replay, Replayed, Step, Writer, filament_area_mm2, split,
};

use super::WeaveError;
use super::dialect::{Speaker, Tally};
use super::error::is_change;
use super::survey::Survey;

/// What was written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Emitted {
    /// Changes of blend put in.
    pub changes: u64,
    /// Moves cut for them.
    pub cuts: u64,
    /// Moves that a change fell into and that had to stay whole; it stands before them.
    pub whole: u64,
}

/// A cut nearer to a move's end than this, mm of way, is made at the end.
const SHORTEST_MM: f64 = 0.05;

/// Bytes written at a time; stretches that are copied are longer, and go out as they are.
const COPY: usize = 64 * 1024;

/// What to write.
pub(super) struct Job<'a> {
    pub survey: &'a Survey,
    pub header: &'a str,
    pub changes: &'a [Command],
    pub filament_mm: f64,
    /// The dialect puts words on moves.
    pub on_moves: bool,
}

/// Writes a surveyed file with a header and its changes, which must rise.
///
/// Stretches of the file without a change are copied without being read, unless line numbers
/// must be counted on or the dialect speaks on moves.
///
/// # Errors
/// When a file fails, or when cancelled.
pub(super) fn emit(
    job: &Job<'_>,
    mut file: impl Read,
    speaker: Speaker<'_>,
    out: &mut dyn Write,
    progress: &Progress,
) -> Result<Emitted, WeaveError> {
    let survey = job.survey;
    progress.stage("Writing the woven toolpath");
    let mut writer = Writer::new(io::BufWriter::with_capacity(COPY, out));
    writer.set_end(&survey.end);
    writer.comment(job.header)?;
    let mut pass = Pass {
        speaker,
        changes: job.changes.iter().peekable(),
        area_mm2: filament_area_mm2(job.filament_mm),
        laid_mm3: 0.0,
        on_moves: job.on_moves,
        pieces: Pieces::new(),
        done: Emitted::default(),
        tally: Tally::default(),
    };
    let mut chunk = Vec::new();
    for (index, start) in survey.checkpoints.iter().enumerate() {
        progress.check()?;
        progress.set(start.bytes as f32 / survey.bytes.max(1) as f32);
        let next = survey.checkpoints.get(index + 1);
        let end = next.map_or(survey.bytes, |c| c.bytes);
        chunk.resize((end - start.bytes) as usize, 0);
        file.read_exact(&mut chunk)
            .map_err(|error| match error.kind() {
                io::ErrorKind::UnexpectedEof => WeaveError::Changed,
                _ if is_change(&error) => WeaveError::Changed,
                _ => WeaveError::Open(error),
            })?;
        let end_mm3 = next.map_or(f64::INFINITY, |c| c.volume_mm3);
        let due = pass.changes.peek().is_some_and(|c| c.at_mm3 <= end_mm3);
        if due || job.on_moves || survey.checked || survey.chooses {
            pass.laid_mm3 = start.volume_mm3;
            pass.run(&chunk, start.state, start.lines, start.bytes, &mut writer)?;
        } else {
            writer.raw(&chunk)?;
        }
    }
    if file.read(&mut [0])? != 0 {
        return Err(WeaveError::Changed);
    }
    let done = pass.done;
    writer.comment(&pass.tally.told().text())?;
    writer.finish()?.flush()?;
    Ok(done)
}

struct Pass<'a> {
    speaker: Speaker<'a>,
    changes: std::iter::Peekable<std::slice::Iter<'a, Command>>,
    area_mm2: f64,
    laid_mm3: f64,
    on_moves: bool,
    pieces: Pieces,
    done: Emitted,
    tally: Tally,
}

impl Pass<'_> {
    fn run<W: Write>(
        &mut self,
        chunk: &[u8],
        state: MachineState,
        lines: u64,
        bytes: u64,
        writer: &mut Writer<W>,
    ) -> Result<(), WeaveError> {
        let mut replay = Replay::resumed(chunk, state, lines, bytes);
        while let Some(seen) = replay.advance()? {
            match seen.step {
                Step::Move(step) if step.extruded_mm > 0.0 => self.lay(&seen, &step, writer)?,
                Step::Move(step) if step.extruded_mm < 0.0 => self.pass(&seen, writer)?,
                Step::Tool(_) => {
                    writer.pass(&seen.line)?;
                    if let Some(line) = self.speaker.again() {
                        writer.insert(&line)?;
                    }
                }
                _ => writer.pass(&seen.line)?,
            }
        }
        Ok(())
    }

    /// Writes a move that feeds plastic, with the changes that fall before or into it.
    fn lay<W: Write>(
        &mut self,
        seen: &Replayed<'_>,
        step: &Move,
        writer: &mut Writer<W>,
    ) -> Result<(), WeaveError> {
        let fresh_mm3 = step.fresh_mm * self.area_mm2;
        let all_mm3 = step.extruded_mm * self.area_mm2;
        let end_mm3 = self.laid_mm3 + fresh_mm3;
        let length = step.length_mm();
        // The fraction of the way at which so much plastic is laid. What a retraction drew back
        // comes first and is not fresh.
        let place = |at_mm3: f64| 1.0 - (end_mm3 - at_mm3) / all_mm3;
        let slack = match length > 0.0 {
            true => (SHORTEST_MM / length).min(0.5),
            false => 0.5,
        };
        let mut cuts: Vec<(f64, blend::Shares)> = Vec::new();
        while let Some(change) = self.changes.peek() {
            let t = place(change.at_mm3);
            if t >= 1.0 - slack {
                break;
            }
            let shares = change.shares;
            self.changes.next();
            match cuts.last_mut() {
                Some(last) if t - last.0 < slack => last.1 = shares,
                _ if t < slack => self.change(&shares, writer)?,
                _ => cuts.push((t, shares)),
            }
        }
        self.laid_mm3 = end_mm3;
        if !cuts.is_empty() {
            // Only cuts that the dialect can tell from what is fed already.
            let mut heard = self.speaker.clone();
            cuts.retain(|(_, shares)| heard.change(shares).is_some());
        }
        if cuts.is_empty() {
            self.count();
            return self.pass(seen, writer);
        }
        let fractions: Vec<f64> = cuts.iter().map(|c| c.0).collect();
        let line = &seen.line;
        match split(
            line,
            seen.before,
            seen.after,
            step,
            &fractions,
            &mut self.pieces,
        ) {
            Ok(()) => {
                self.done.cuts += 1;
                self.count();
                writer.pass_piece(line, &self.pieces, 0, &self.speaker.words())?;
                for (index, (_, shares)) in cuts.iter().enumerate() {
                    self.change(shares, writer)?;
                    self.count();
                    writer.pass_piece(line, &self.pieces, index + 1, &self.speaker.words())?;
                }
            }
            Err(_) => {
                self.done.whole += 1;
                for (_, shares) in &cuts {
                    self.change(shares, writer)?;
                }
                self.count();
                self.pass(seen, writer)?;
            }
        }
        Ok(())
    }

    /// Notes the blend that the next plastic is fed in.
    fn count(&mut self) {
        if let Some(shares) = self.speaker.current() {
            self.tally.feed(&shares);
        }
    }

    fn change<W: Write>(
        &mut self,
        shares: &blend::Shares,
        writer: &mut Writer<W>,
    ) -> Result<(), WeaveError> {
        if let Some(lines) = self.speaker.change(shares) {
            self.done.changes += 1;
            writer.insert(&lines)?;
        }
        Ok(())
    }

    /// Writes a line with filament as it is, but for the words of a dialect on moves.
    fn pass<W: Write>(
        &mut self,
        seen: &Replayed<'_>,
        writer: &mut Writer<W>,
    ) -> Result<(), WeaveError> {
        let words = self.speaker.words();
        if !self.on_moves || words.is_empty() {
            return Ok(writer.pass(&seen.line)?);
        }
        self.pieces.whole(&seen.line);
        Ok(writer.pass_piece(&seen.line, &self.pieces, 0, &words)?)
    }
}
