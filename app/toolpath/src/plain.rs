//! Plain moves: `G1 X10.5 Y-3 E0.04` and no more. Nearly all of a file is such lines, so they
//! are read at one go, without being taken apart into words.
//!
//! A line is plain if it is `G0` or `G1` and then the letters X, Y, Z, E and F, each once at
//! most, each with its number and one blank before it, and perhaps a comment after `;`. What
//! is written in any other way is left to [`crate::line`], so a line means the same either way.

use memchr::memchr2;

use crate::number;

/// The places of X, Y, Z, E and F among a line's numbers.
pub(crate) const E: usize = 3;
pub(crate) const F: usize = 4;

/// The numbers of a move by letter.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Numbers {
    value: [f64; 5],
    /// One bit for each that is given.
    given: u8,
}

impl Numbers {
    /// One of them, if the line gives it.
    #[inline]
    pub(crate) fn get(&self, place: usize) -> Option<f64> {
        let given = self.given & (1 << (place & 7)) != 0;
        given.then(|| self.value.get(place).copied()).flatten()
    }

    /// Takes one in; false if it was given before.
    #[inline]
    pub(crate) fn take(&mut self, place: usize, value: f64) -> bool {
        let bit = 1 << (place & 7);
        let first = self.given & bit == 0;
        if let Some(slot) = self.value.get_mut(place) {
            *slot = value;
            self.given |= bit;
        }
        first
    }

    /// Whether a place or filament is given.
    #[inline]
    pub(crate) fn moves(&self) -> bool {
        self.given & ((1 << F) - 1) != 0
    }
}

/// A plain move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Plain {
    /// It is a `G0`.
    pub rapid: bool,
    /// Bytes of the line, its end included.
    pub length: usize,
}

/// Reads the line at the beginning of `held`, which may go on beyond it, and its numbers; `None`
/// if it is not plain, or if its end is not there.
#[inline]
pub(crate) fn read(held: &[u8], numbers: &mut Numbers) -> Option<Plain> {
    numbers.given = 0;
    let rapid = match held.first_chunk()? {
        b"G1 " => false,
        b"G0 " => true,
        _ => return None,
    };
    let mut at = 3;
    loop {
        let place = match held.get(at)? {
            b'X' => 0,
            b'Y' => 1,
            b'Z' => 2,
            b'E' => E,
            b'F' => F,
            b';' if at > 3 => return ended(held, comment_end(held, at)?, rapid),
            _ => return None,
        };
        let (value, to) = number::read_short(held, at + 1)?;
        if !numbers.take(place, value) {
            return None;
        }
        match held.get(to)? {
            b' ' => at = to + 1,
            b'\n' | b'\r' => return ended(held, to, rapid),
            b';' => return ended(held, comment_end(held, to)?, rapid),
            _ => return None,
        }
    }
}

/// Where a comment ends.
fn comment_end(held: &[u8], at: usize) -> Option<usize> {
    Some(at + memchr2(b'\n', b'\r', held.get(at..)?)?)
}

/// The move, if its end of line at `at` can be told from what is held.
#[inline]
fn ended(held: &[u8], at: usize, rapid: bool) -> Option<Plain> {
    let length = match held.get(at..)? {
        [b'\n', ..] => at + 1,
        [b'\r', b'\n', ..] => at + 2,
        [b'\r', _, ..] => at + 1,
        _ => return None,
    };
    Some(Plain { rapid, length })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(text: &str) -> Option<[Option<f64>; 5]> {
        let mut numbers = Numbers::default();
        read(text.as_bytes(), &mut numbers)?;
        Some([0, 1, 2, 3, 4].map(|place| numbers.get(place)))
    }

    #[test]
    fn what_is_plain() {
        let expected = [Some(1.5), Some(-2.0), None, Some(0.25), None];
        for text in [
            "G1 X1.5 Y-2 E.25\n",
            "G1 X1.5 Y-2. E0.25\r\n",
            "G1 E0.2500000 Y-02 X1.50000000000\rG1",
            "G1 X1.5 Y-2 E.25;wall\n",
            "G1 X1.5 Y-2 E.25 ; wall\r\nG1",
        ] {
            assert_eq!(numbers(text), Some(expected), "{text}");
        }
        let mut numbers = Numbers::default();
        let feed = read(b"G0 F9000\nG1 X1\n", &mut numbers).expect("plain");
        assert!(feed.rapid && !numbers.moves() && feed.length == 9);
    }

    #[test]
    fn what_is_not() {
        for text in [
            "G1 X1 2\n",  // Blanks within a number: 12.
            "G1 X1 .5\n", // 1.5.
            "G1 X1  Y2\n",
            "G1 X1 X2\n",
            "G1 X+1\n",
            "G1 X1.2.3\n",
            "G1 X\n",
            "G1 X.\n",
            "G1 X-\n",
            "G1 X1 \n",
            "G1 X1 I2\n",
            "G1 X1 M5\n",
            "G1 X1*5\n",
            "G1 X1 (a)\n",
            "G1 ;a\n",
            "G1\n",
            "G01 X1\n",
            "g1 X1\n",
            "G1X1\n",
            "N1 G1 X1\n",
            "G1 X1", // Nobody knows what follows.
            "G1 X1\r",
            "G1 X1 ; a",
            "",
        ] {
            assert_eq!(numbers(text), None, "{text}");
        }
    }
}
