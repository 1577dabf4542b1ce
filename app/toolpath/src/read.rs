//! Lines out of a stream, in constant memory.

use std::io::{self, Read};

use memchr::{memchr, memchr2};

use crate::line::{self, Form, Line, Parsed, Word};
use crate::plain::{self, Numbers, Plain};

/// Bytes asked for at a time.
const BUFFER: usize = 256 * 1024;

/// The longest line that is held at once. A comment may be longer: its rest is handed on in
/// pieces. (NIST 3.3 ends at 256 characters; printers' files keep to no limit.)
const LONGEST_LINE: usize = 1 << 20;

/// Why no further line could be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file failed.
    #[error("the toolpath can't be read at byte {offset}: {source}")]
    Io {
        /// Bytes read before.
        offset: u64,
        /// The system's reason.
        source: io::Error,
    },
    /// A zero byte: not text.
    #[error(
        "byte {offset} (line {line}) is zero, so this isn't a plain-text toolpath; export plain, \
         uncompressed text from the slicer"
    )]
    Binary {
        /// Where.
        offset: u64,
        /// In which line, from 1.
        line: u64,
    },
    /// A line without end that isn't a comment.
    #[error(
        "line {line} (from byte {offset}) is longer than {LONGEST_LINE} bytes and not a comment, \
         so this doesn't look like a toolpath"
    )]
    TooLong {
        /// Where it begins.
        offset: u64,
        /// Its number, from 1.
        line: u64,
    },
}

/// Hands out the lines of a stream one after another.
///
/// A line ends with `\n`, `\r\n` or `\r` (NIST 3.3: "carriage return or line feed or both").
///
/// ```
/// use toolpath::Reader;
/// let mut reader = Reader::new(&b"G1 X1\r\nG1 X2"[..]);
/// let mut copy = Vec::new();
/// while let Some(line) = reader.next_line()? {
///     copy.extend_from_slice(line.bytes());
/// }
/// assert_eq!(copy, b"G1 X1\r\nG1 X2");
/// # Ok::<(), toolpath::ReadError>(())
/// ```
#[derive(Debug)]
pub struct Reader<R> {
    input: R,
    buffer: Vec<u8>,
    /// What is in the buffer and not yet handed out.
    start: usize,
    filled: usize,
    ended: bool,
    words: Vec<Word>,
    /// Lines handed out.
    number: u64,
    /// Bytes handed out.
    offset: u64,
    in_comment: bool,
}

/// A line found in the buffer.
struct Found {
    body: usize,
    length: usize,
}

impl<R: Read> Reader<R> {
    /// Reads a stream; it needs no buffer of its own.
    pub fn new(input: R) -> Self {
        Self {
            input,
            buffer: vec![0; BUFFER],
            start: 0,
            filled: 0,
            ended: false,
            words: Vec::with_capacity(32),
            number: 0,
            offset: 0,
            in_comment: false,
        }
    }

    /// Reads on in the midst of a file, at the beginning of a line: `lines` and `bytes` of it
    /// went before.
    pub fn resumed(input: R, lines: u64, bytes: u64) -> Self {
        Self {
            number: lines,
            offset: bytes,
            ..Self::new(input)
        }
    }

    /// Bytes handed out so far.
    pub fn offset(&self) -> u64 {
        self.offset
    }

    /// Lines handed out so far.
    pub fn lines(&self) -> u64 {
        self.number
    }

    /// Whether the rest of a comment comes next, too long to be held at once.
    pub fn in_comment(&self) -> bool {
        self.in_comment
    }

    /// Hands out the next line as [`Reader::next_line`] does, if it is a plain move and held in
    /// full, and reads its numbers.
    #[inline]
    pub(crate) fn next_plain(&mut self, numbers: &mut Numbers) -> Option<Plain> {
        if self.in_comment {
            return None;
        }
        let plain = plain::read(self.buffer.get(self.start..self.filled)?, numbers)?;
        self.number += 1;
        self.start += plain.length;
        self.offset += plain.length as u64;
        Some(plain)
    }

    /// The last bytes handed out.
    #[inline]
    pub(crate) fn last(&self, length: usize) -> &[u8] {
        let from = self.start.saturating_sub(length);
        self.buffer.get(from..self.start).unwrap_or_default()
    }

    /// The next line; `None` at the end.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn next_line(&mut self) -> Result<Option<Line<'_>>, ReadError> {
        let Some(found) = self.find()? else {
            return Ok(None);
        };
        let whole = found.length > found.body || self.ended_after(found.length);
        let from = self.start;
        let offset = self.offset;
        if !self.in_comment {
            self.number += 1;
        }
        let bytes = self.buffer.get(from..from + found.length);
        let bytes = bytes.unwrap_or_default();
        let parsed = if self.in_comment {
            self.words.clear();
            rest_of_comment(found.body)
        } else {
            line::parse(bytes.get(..found.body).unwrap_or_default(), &mut self.words)
        };
        if !whole && !self.in_comment && !parsed.comment_runs_on {
            return Err(ReadError::TooLong {
                offset,
                line: self.number,
            });
        }
        self.in_comment = !whole;
        self.start += found.length;
        self.offset += found.length as u64;
        Ok(Some(Line {
            bytes,
            body: found.body,
            words: &self.words,
            parsed,
            number: self.number,
            offset,
            goes_on: !whole,
        }))
    }

    fn ended_after(&self, length: usize) -> bool {
        self.ended && self.start + length == self.filled
    }

    /// Finds the end of the next line, reading on as needed.
    #[inline]
    fn find(&mut self) -> Result<Option<Found>, ReadError> {
        let mut searched = 0;
        loop {
            let held = self.buffer.get(self.start..self.filled);
            let held = held.unwrap_or_default();
            let new = held.get(searched..).unwrap_or_default();
            if let Some(ahead) = memchr2(b'\n', b'\r', new) {
                let body = searched + ahead;
                let length = match new.get(ahead..) {
                    Some([b'\r', b'\n', ..]) => body + 2,
                    // The next byte decides, and it isn't here yet.
                    Some([b'\r']) if !self.ended => 0,
                    _ => body + 1,
                };
                if length > 0 {
                    return Ok(Some(Found { body, length }));
                }
                searched = body;
            } else if self.ended {
                let length = held.len();
                return Ok((length > 0).then_some(Found {
                    body: length,
                    length,
                }));
            } else if held.len() >= LONGEST_LINE {
                return Ok(Some(Found {
                    body: held.len(),
                    length: held.len(),
                }));
            } else {
                searched = held.len();
            }
            self.fill()?;
        }
    }

    /// Reads once more, after moving what is held to the front and growing if that fills it.
    #[cold]
    fn fill(&mut self) -> Result<(), ReadError> {
        self.buffer.copy_within(self.start..self.filled, 0);
        self.filled -= self.start;
        self.start = 0;
        if self.filled == self.buffer.len() {
            self.buffer.resize(self.buffer.len() + BUFFER, 0);
        }
        let free = self.buffer.get_mut(self.filled..).unwrap_or_default();
        let read = loop {
            match self.input.read(free) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                other => break other,
            }
        };
        let offset = self.offset + self.filled as u64;
        let read = read.map_err(|source| ReadError::Io { offset, source })?;
        // What claims to have read more than it was given room for is not believed.
        let read = read.min(free.len());
        if let Some(at) = free.get(..read).and_then(|new| memchr(0, new)) {
            let before = self.buffer.get(..self.filled + at).unwrap_or_default();
            return Err(ReadError::Binary {
                offset: offset + at as u64,
                line: self.number + 1 + before.iter().filter(|b| **b == b'\n').count() as u64,
            });
        }
        self.filled += read;
        self.ended = read == 0;
        Ok(())
    }
}

fn rest_of_comment(length: usize) -> Parsed {
    Parsed {
        form: Form::CommentRest,
        comment: Some((0, length as u32)),
        comment_runs_on: true,
        checksum: None,
        unread: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Hands out at most `step` bytes at a time.
    struct Drip<'a>(&'a [u8], usize);

    impl Read for Drip<'_> {
        fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
            let n = self.0.len().min(out.len()).min(self.1);
            out[..n].copy_from_slice(&self.0[..n]);
            self.0 = &self.0[n..];
            Ok(n)
        }
    }

    /// Number, body and end of each line.
    type Seen = Vec<(u64, Vec<u8>, Vec<u8>)>;

    fn lines(input: impl Read) -> Result<Seen, ReadError> {
        let mut reader = Reader::new(input);
        let mut seen = Vec::new();
        while let Some(line) = reader.next_line()? {
            seen.push((line.number(), line.body().to_vec(), line.end().to_vec()));
        }
        Ok(seen)
    }

    #[test]
    fn every_end_of_line() {
        let text = b"a\nb\r\nc\rd\n\r\n\n\re";
        for step in 1..5 {
            let seen = lines(Drip(text, step)).expect("text");
            let bodies: Vec<_> = seen.iter().map(|l| l.1.as_slice()).collect();
            assert_eq!(bodies, [&b"a"[..], b"b", b"c", b"d", b"", b"", b"", b"e"]);
            assert_eq!(seen[1].2, b"\r\n");
            assert_eq!(seen[2].2, b"\r");
        }
        assert!(lines(&b""[..]).expect("nothing").is_empty());
        assert_eq!(lines(&b"\r"[..]).expect("one").len(), 1);
    }

    #[test]
    fn a_comment_of_any_length_passes_and_stays_one_line() {
        let mut text = b"G1 X1 ;".to_vec();
        text.resize(3 * LONGEST_LINE, b'c');
        text.extend_from_slice(b"\nG1 X2\n");
        let mut reader = Reader::new(&text[..]);
        let (mut copy, mut moves, mut last) = (Vec::new(), 0, 0);
        while let Some(line) = reader.next_line().expect("text") {
            copy.extend_from_slice(line.bytes());
            moves += usize::from(line.form() == Form::Words);
            last = line.number();
        }
        assert!(copy == text);
        assert_eq!((moves, last), (2, 2));
        assert!(reader.buffer.len() <= 2 * LONGEST_LINE);
    }

    #[test]
    fn what_is_no_toolpath_is_refused() {
        let endless = vec![b'G'; 2 * LONGEST_LINE];
        assert!(matches!(
            lines(&endless[..]),
            Err(ReadError::TooLong { line: 1, offset: 0 })
        ));
        assert!(matches!(
            lines(&b"G1\nG1\nG\0"[..]),
            Err(ReadError::Binary { line: 3, offset: 7 })
        ));
    }

    proptest! {
        #[test]
        fn bytes_come_out_as_they_went_in(
            text in proptest::collection::vec(1_u8..=255, 0..400),
            step in 1_usize..50,
        ) {
            let mut copy = Vec::new();
            for (_, body, end) in lines(Drip(&text, step)).expect("text") {
                copy.extend(body);
                copy.extend(end);
            }
            prop_assert_eq!(copy, text);
        }
    }
}
