//! Lines and numbers of text formats.

use std::io::{self, BufRead};

/// What some editors put before UTF-8 text.
pub(super) const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Reads lines, counting them, into one buffer that is used again. Bytes that are not
/// UTF-8, as names and comments may hold, do no harm.
pub(super) struct Lines<R> {
    inner: R,
    line: Vec<u8>,
    /// Whether the last line ended in CR, so that a LF which follows is part of its end.
    after_return: bool,
    /// The number of the line last read, from 1.
    pub(super) number: usize,
}

impl<R: BufRead> Lines<R> {
    pub(super) fn new(inner: R) -> Self {
        Self {
            inner,
            line: Vec::new(),
            after_return: false,
            number: 0,
        }
    }

    /// Adds the next line to what is there: it ends with LF, CR LF, or CR alone, as very old
    /// files do. False at the end of the file.
    fn fetch(&mut self) -> io::Result<bool> {
        let mut some = false;
        loop {
            let mut buffer = self.inner.fill_buf()?;
            if std::mem::take(&mut self.after_return) && buffer.first() == Some(&b'\n') {
                self.inner.consume(1);
                buffer = self.inner.fill_buf()?;
            }
            if buffer.is_empty() {
                return Ok(some);
            }
            some = true;
            let end = memchr::memchr2(b'\n', b'\r', buffer);
            let line = buffer.get(..end.unwrap_or(buffer.len())).unwrap_or(buffer);
            self.line.extend_from_slice(line);
            let used = line.len() + usize::from(end.is_some());
            self.after_return = end.is_some_and(|at| buffer.get(at) == Some(&b'\r'));
            self.inner.consume(used);
            if end.is_some() {
                return Ok(true);
            }
        }
    }

    /// The next line without its end, or `None` at the end of the file. A line that ends
    /// in a backslash goes on in the next one, if `joined`.
    pub(super) fn next(&mut self, joined: bool) -> io::Result<Option<&[u8]>> {
        self.line.clear();
        loop {
            if !self.fetch()? {
                break;
            }
            self.number += 1;
            if self.number == 1 && self.line.starts_with(BYTE_ORDER_MARK) {
                self.line.drain(..BYTE_ORDER_MARK.len());
            }
            let kept = self.line.trim_ascii_end().len();
            self.line.truncate(kept);
            if !joined || self.line.last() != Some(&b'\\') {
                return Ok(Some(&self.line));
            }
            self.line.pop();
            self.line.push(b' ');
        }
        Ok((!self.line.is_empty()).then_some(&self.line))
    }
}

/// The words of a line.
pub(super) fn words(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(u8::is_ascii_whitespace)
        .filter(|w| !w.is_empty())
}

/// A word as a finite number.
pub(super) fn number(word: &[u8]) -> Option<f64> {
    let value: f64 = std::str::from_utf8(word).ok()?.parse().ok()?;
    value.is_finite().then_some(value)
}

/// A word for an error message: short, and printable.
pub(super) fn shown(word: &[u8]) -> String {
    let text: String = String::from_utf8_lossy(word).chars().take(24).collect();
    format!("'{}'", text.escape_debug())
}
