//! Lines back into a stream.
//!
//! What nobody touched leaves byte for byte as it came. In a file with checksums the machine
//! asks for line numbers that rise by one (common practice, no source), so lines after an
//! insertion are counted on and their checksums made anew; files without are left as they are.

use std::io::{self, Write};

use crate::{Line, Pieces};

/// Writes lines, changed ones and new ones.
///
/// ```
/// use toolpath::{Reader, Writer};
/// let mut reader = Reader::new(&b"N1 G1 X1*96\r\nN2 G1 X2*96\r\n"[..]);
/// let mut writer = Writer::new(Vec::new());
/// while let Some(line) = reader.next_line()? {
///     writer.pass(&line)?;
///     if line.number() == 1 {
///         writer.insert("T0")?;
///     }
/// }
/// let text = String::from_utf8(writer.finish()?)?;
/// assert_eq!(text, "N1 G1 X1*96\r\nN2 T0*56\r\nN3 G1 X2*97\r\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Writer<W> {
    out: W,
    end: Vec<u8>,
    /// The last line written has no end yet.
    open: bool,
    /// The file gives checksums.
    checked: bool,
    /// The last line number written.
    last: i64,
    /// Lines with numbers put in since the numbers were last set.
    shift: i64,
    scratch: Vec<u8>,
    piece: Vec<u8>,
}

impl<W: Write> Writer<W> {
    /// Writes to a stream, which should be buffered.
    pub fn new(out: W) -> Self {
        Self {
            out,
            end: b"\n".to_vec(),
            open: false,
            checked: false,
            last: 0,
            shift: 0,
            scratch: Vec::new(),
            piece: Vec::new(),
        }
    }

    /// Sets the end of line for what is put in; later lines of the file set it too.
    pub fn set_end(&mut self, end: &[u8]) {
        if !end.is_empty() {
            self.end.clear();
            self.end.extend_from_slice(end);
        }
    }

    /// Writes a line as it is.
    ///
    /// # Errors
    /// The stream's.
    pub fn pass(&mut self, line: &Line<'_>) -> io::Result<()> {
        let Some(number) = line.line_number() else {
            self.close()?;
            self.out.write_all(line.bytes())?;
            self.after(line);
            self.settle(line);
            return Ok(());
        };
        self.checked |= line.checksum().is_some();
        if self.shift == 0 {
            self.close()?;
            self.last = number.value.unwrap_or(0.0) as i64;
            self.out.write_all(line.bytes())?;
        } else {
            let body = line.body();
            let end = line.checksum().map_or(body.len(), |c| c.at as usize);
            self.numbered(line, body.get(..end).unwrap_or_default())?;
            self.out.write_all(line.end())?;
        }
        self.after(line);
        self.settle(line);
        Ok(())
    }

    /// Writes a move in pieces instead of its line.
    ///
    /// # Errors
    /// The stream's.
    pub fn pass_pieces(&mut self, line: &Line<'_>, pieces: &Pieces) -> io::Result<()> {
        (0..pieces.len()).try_for_each(|i| self.pass_piece(line, pieces, i, ""))
    }

    /// Writes one piece of a move, with more words put behind its own; all pieces are to be
    /// written, in order.
    ///
    /// # Errors
    /// The stream's.
    pub fn pass_piece(
        &mut self,
        line: &Line<'_>,
        pieces: &Pieces,
        index: usize,
        more: &str,
    ) -> io::Result<()> {
        let (words, comment) = pieces.parts(index);
        let mut text = std::mem::take(&mut self.piece);
        text.clear();
        text.extend_from_slice(words);
        text.extend_from_slice(more.as_bytes());
        text.extend_from_slice(comment);
        let done = match index {
            0 => self.pass_first(line, &text),
            _ => self.insert_line(&text),
        };
        self.piece = text;
        done
    }

    fn pass_first(&mut self, line: &Line<'_>, text: &[u8]) -> io::Result<()> {
        self.checked |= line.checksum().is_some();
        if line.line_number().is_some() {
            self.numbered(line, text)?;
        } else {
            self.close()?;
            self.out.write_all(text)?;
        }
        self.out.write_all(line.end())?;
        self.after(line);
        Ok(())
    }

    /// Writes lines that were not taken apart, as they are: only for files without checksums,
    /// and only whole lines.
    ///
    /// # Errors
    /// The stream's.
    pub fn raw(&mut self, lines: &[u8]) -> io::Result<()> {
        self.close()?;
        self.out.write_all(lines)?;
        self.open = !matches!(lines.last(), None | Some(b'\n' | b'\r'));
        Ok(())
    }

    /// Puts in commands, one on each line of the text, with line numbers and checksums if the
    /// file has them.
    ///
    /// # Errors
    /// The stream's.
    pub fn insert(&mut self, text: &str) -> io::Result<()> {
        text.lines()
            .try_for_each(|line| self.insert_line(line.as_bytes()))
    }

    /// Puts in one line of any bytes, with line number and checksum if the file has them.
    ///
    /// # Errors
    /// The stream's.
    pub fn put(&mut self, line: &[u8]) -> io::Result<()> {
        self.insert_line(line)
    }

    /// Puts in comments, one for each line of the text.
    ///
    /// # Errors
    /// The stream's.
    pub fn comment(&mut self, text: &str) -> io::Result<()> {
        for line in text.lines() {
            self.close()?;
            let gap = if line.is_empty() { "" } else { " " };
            write!(self.out, ";{gap}{line}")?;
            self.out.write_all(&self.end)?;
        }
        Ok(())
    }

    /// Writes out what is held back and returns the stream.
    ///
    /// # Errors
    /// The stream's.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }

    fn insert_line(&mut self, text: &[u8]) -> io::Result<()> {
        self.close()?;
        if self.checked {
            self.last = self.last.saturating_add(1);
            self.shift = self.shift.saturating_add(1);
            self.scratch.clear();
            write!(self.scratch, "N{} ", self.last)?;
            self.scratch.extend_from_slice(text);
            let sum = checksum(&self.scratch);
            self.out.write_all(&self.scratch)?;
            write!(self.out, "*{sum}")?;
        } else {
            self.out.write_all(text)?;
        }
        self.out.write_all(&self.end)
    }

    /// Writes a numbered line with its number counted on and its checksum, if it has one, made
    /// anew; `text` is what comes before the checksum.
    fn numbered(&mut self, line: &Line<'_>, text: &[u8]) -> io::Result<()> {
        self.close()?;
        self.scratch.clear();
        match line.line_number() {
            Some(word) if self.shift != 0 && self.checked => {
                self.last = (word.value.unwrap_or(0.0) as i64).saturating_add(self.shift);
                let (from, to) = (word.from as usize, word.to as usize);
                self.scratch
                    .extend_from_slice(text.get(..from).unwrap_or_default());
                write!(self.scratch, "{}", self.last)?;
                let rest = text.get(to..).unwrap_or_default();
                // A point that was no part of the old number must not become one of the new.
                if rest.trim_ascii_start().starts_with(b".") {
                    self.scratch.push(b'.');
                }
                self.scratch.extend_from_slice(rest);
            }
            word => {
                self.last = word.and_then(|w| w.value).unwrap_or(0.0) as i64;
                self.scratch.extend_from_slice(text);
            }
        }
        self.out.write_all(&self.scratch)?;
        if let Some(sum) = line.checksum() {
            write!(self.out, "*{}", checksum(&self.scratch))?;
            let tail = line.body().get(sum.to as usize..).unwrap_or_default();
            self.out.write_all(tail)?;
        }
        Ok(())
    }

    /// M110 sets the machine's count anew.
    fn settle(&mut self, line: &Line<'_>) {
        let words = line.words();
        if words
            .iter()
            .any(|w| w.letter == b'M' && w.value == Some(110.0))
        {
            self.shift = 0;
            let number = words.iter().rev().find(|w| w.letter == b'N');
            if let Some(value) = number.and_then(|w| w.value) {
                self.last = value as i64;
            }
        }
    }

    fn after(&mut self, line: &Line<'_>) {
        self.open = line.end().is_empty() && !line.bytes().is_empty() && !line.goes_on();
        if !line.end().is_empty() && self.end != line.end() {
            self.end.clear();
            self.end.extend_from_slice(line.end());
        }
    }

    /// Ends a last line that had no end.
    fn close(&mut self) -> io::Result<()> {
        if self.open {
            self.open = false;
            self.out.write_all(&self.end)?;
        }
        Ok(())
    }
}

fn checksum(text: &[u8]) -> u8 {
    text.iter().fold(0, |sum, b| sum ^ b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Replay, Settings, Step, split};

    /// Puts `T0` before each line that moves in x, and cuts each such move in two.
    fn changed(file: &str) -> String {
        let mut replay = Replay::new(file.as_bytes(), Settings::default());
        let mut writer = Writer::new(Vec::new());
        let mut pieces = Pieces::new();
        while let Some(seen) = replay.advance().expect("text") {
            match seen.step {
                Step::Move(m) if m.prints() => {
                    split(&seen.line, seen.before, seen.after, &m, &[0.5], &mut pieces)
                        .expect("a plain move");
                    writer.insert("T0").expect("memory");
                    writer.pass_pieces(&seen.line, &pieces).expect("memory");
                }
                _ => writer.pass(&seen.line).expect("memory"),
            }
        }
        String::from_utf8(writer.finish().expect("memory")).expect("text")
    }

    fn with_checksums(lines: &[&str]) -> String {
        lines
            .iter()
            .map(|line| format!("{line}*{}\n", checksum(line.as_bytes())))
            .collect()
    }

    #[test]
    fn numbers_and_checksums_go_on() {
        let lines = ["N1 M83", "N2 G1 X2 E1", "N3 M117 hi*5", "N4 G1 X4 E1\t"];
        let file = with_checksums(&lines).trim_end().to_owned() + " ; done";
        let expected = with_checksums(&[
            "N1 M83",
            "N2 T0",
            "N3 G1 X1 E0.5",
            "N4 G1 X2 E0.5",
            "N5 M117 hi*5",
            "N6 T0",
            "N7 G1 X3 E0.5\t",
            "N8 G1 X4 E0.5",
        ]);
        let text = changed(&file);
        assert!(text.contains(" ; done\n"), "{text}");
        assert_eq!(text.replace(" ; done", ""), expected);
    }

    #[test]
    fn a_comment_after_a_checksum_stays() {
        let file = with_checksums(&["N1 M83", "N2 G1 X2 E1", "N3 G28"]);
        let text = changed(&(file.trim_end().to_owned() + " (home)\n"));
        assert!(text.ends_with(" (home)\n"), "{text}");
    }

    #[test]
    fn the_count_may_be_set_anew() {
        let file = with_checksums(&[
            "N1 M83",
            "N2 G1 X2 E1",
            "N3 M110 N0",
            "N1 G28",
            "N2 G1 X4 E1",
        ]);
        let expected = with_checksums(&[
            "N1 M83",
            "N2 T0",
            "N3 G1 X1 E0.5",
            "N4 G1 X2 E0.5",
            "N5 M110 N0",
            "N1 G28",
            "N2 T0",
            "N3 G1 X2 E0.5",
            "N4 G1 X4 E0.5",
        ]);
        assert_eq!(changed(&file), expected);
    }

    #[test]
    fn numbers_without_checksums_stay() {
        let text = changed("N10 M83\nN20 G1 X2 E1\nN30 G28\n");
        assert_eq!(text, "N10 M83\nT0\nN20 G1 X1 E0.5\nG1 X2 E0.5\nN30 G28\n");
    }

    #[test]
    fn more_words_go_before_the_comment() {
        let mut words = Vec::new();
        let line = Line::parse(b"G1 X2 E1  ; wall\n", &mut words);
        let mut pieces = Pieces::new();
        pieces.whole(&line);
        let mut writer = Writer::new(Vec::new());
        writer.pass_piece(&line, &pieces, 0, " A1").expect("memory");
        assert_eq!(writer.finish().expect("memory"), b"G1 X2 E1 A1  ; wall\n");
    }

    #[test]
    fn ends_of_line_are_the_files_own() {
        assert_eq!(
            changed("M83\r\nG1 X2 E1"),
            "M83\r\nT0\r\nG1 X1 E0.5\r\nG1 X2 E0.5\r\n"
        );
        let mut writer = Writer::new(Vec::new());
        writer.set_end(b"\r\n");
        writer.comment("a\n\nb").expect("memory");
        assert_eq!(writer.finish().expect("memory"), b"; a\r\n;\r\n; b\r\n");
    }
}
