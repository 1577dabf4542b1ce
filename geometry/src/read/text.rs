//! Lines and numbers of text formats.

use std::io::{self, BufRead};

/// What some editors put before UTF-8 text.
pub(super) const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Reads lines, counting them, into one buffer that is used again. Bytes that are not
/// UTF-8, as names and comments may hold, do no harm.
pub(super) struct Lines<R> {
    inner: R,
    line: Vec<u8>,
    /// The number of the line last read, from 1.
    pub(super) number: usize,
}

impl<R: BufRead> Lines<R> {
    pub(super) fn new(inner: R) -> Self {
        Self {
            inner,
            line: Vec::new(),
            number: 0,
        }
    }

    /// What the lines come from.
    pub(super) fn inner_mut(&mut self) -> &mut R {
        &mut self.inner
    }

    /// The next line without its end, or `None` at the end of the file. A line that ends
    /// in a backslash goes on in the next one, if `joined`.
    pub(super) fn next(&mut self, joined: bool) -> io::Result<Option<&[u8]>> {
        self.line.clear();
        loop {
            let count = self.inner.read_until(b'\n', &mut self.line)?;
            if count == 0 {
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
