//! Numbers as G-code writes them, read and written without loss.
//!
//! NIST 3.3.2.1: an optional sign, digits, at most one point, at least one digit, no exponent;
//! and by NIST 3.3 blanks may stand anywhere, even inside a number.

/// Powers of ten that an `f64` holds exactly.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// A number found in a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Found {
    /// The value; `None` when there is no number here or it is too great for an `f64`.
    pub value: Option<f64>,
    /// Where its first byte is.
    pub from: usize,
    /// One past its last byte.
    pub to: usize,
}

#[inline]
fn blank(byte: u8) -> bool {
    byte == b' ' || byte == b'\t'
}

/// First place at or after `at` that holds no blank.
#[inline]
pub(crate) fn skip_blanks(bytes: &[u8], mut at: usize) -> usize {
    while bytes.get(at).is_some_and(|b| blank(*b)) {
        at += 1;
    }
    at
}

/// Reads the number that begins at `at` or after blanks there.
#[inline]
pub(crate) fn read(bytes: &[u8], at: usize) -> Found {
    let from = skip_blanks(bytes, at);
    read_plain(bytes, from).unwrap_or_else(|| read_any(bytes, from))
}

#[inline]
fn digit(bytes: &[u8], at: usize) -> Option<u64> {
    let value = bytes.get(at)?.wrapping_sub(b'0');
    (value < 10).then_some(u64::from(value))
}

/// Reads a number without blanks in it and with up to 15 digits: nearly every one.
#[inline]
fn read_plain(bytes: &[u8], from: usize) -> Option<Found> {
    let (value, to) = read_short(bytes, from)?;
    if bytes.get(to).is_some_and(|b| blank(*b)) {
        let next = bytes.get(skip_blanks(bytes, to));
        if next.is_some_and(|b| b.is_ascii_digit() || *b == b'.') {
            return None;
        }
    }
    Some(Found {
        value: Some(value),
        from,
        to,
    })
}

/// Reads a number of up to 15 digits one by one, and where it ends.
fn read_digits(bytes: &[u8], from: usize) -> Option<(f64, usize)> {
    let negative = bytes.get(from) == Some(&b'-');
    let begin = from + usize::from(negative);
    let (mut i, mut mantissa) = (begin, 0_u64);
    while let Some(value) = digit(bytes, i) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(value);
        i += 1;
    }
    let mut digits = i - begin;
    let mut decimals = 0;
    if bytes.get(i) == Some(&b'.') {
        i += 1;
        let point = i;
        while let Some(value) = digit(bytes, i) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(value);
            i += 1;
        }
        decimals = i - point;
        digits += decimals;
    }
    if digits == 0 || digits > 15 {
        return None;
    }
    // Both are exact, so the quotient is the nearest f64 (Clinger, "How to read floating point
    // numbers accurately", 1990).
    let size = mantissa as f64 / POWERS.get(decimals)?;
    Some((if negative { -size } else { size }, i))
}

/// The digits of eight bytes, one in each.
const NOUGHTS: u64 = 0x3030_3030_3030_3030;

/// Reads a number without blanks in it, and where it ends; `None` if it is none of at most 15
/// digits. Blanks after it, and what follows them, are the caller's matter.
///
/// A number of less than eight bytes, which nearly every one is, is read at one go: its bytes
/// are the digits of a number of base 2⁸ and are drawn together in pairs, fours and eights
/// (common practice, no source).
#[inline]
pub(crate) fn read_short(bytes: &[u8], from: usize) -> Option<(f64, usize)> {
    let negative = bytes.get(from) == Some(&b'-');
    let begin = from + usize::from(negative);
    let Some(eight) = bytes.get(begin..).and_then(<[u8]>::first_chunk) else {
        return read_digits(bytes, from);
    };
    let digits = u64::from_le_bytes(*eight) ^ NOUGHTS;
    // The high bit of each byte that is no digit.
    let others = (((digits & !HIGH_BITS) + 0x7676_7676_7676_7676) | digits) & HIGH_BITS;
    let first = others.trailing_zeros() / 8;
    let (digits, count, length) = if first < 8 && eight.get(first as usize) == Some(&b'.') {
        let length = (others & (others - 1)).trailing_zeros() / 8;
        let before = (1_u64 << (8 * first)) - 1;
        let joined = (digits & before) | ((digits >> 8) & !before);
        (joined, length.wrapping_sub(1), length)
    } else {
        (digits, first, first)
    };
    if length == 8 {
        return read_digits(bytes, from);
    }
    if count == 0 {
        return None;
    }
    let mantissa = drawn_together(digits << (64 - 8 * count));
    let decimals = length.saturating_sub(first + 1) as usize;
    // Both are exact, as in `read_digits`.
    let size = f64::from(mantissa) / POWERS.get(decimals)?;
    let value = if negative { -size } else { size };
    Some((value, begin + length as usize))
}

const HIGH_BITS: u64 = 0x8080_8080_8080_8080;

/// The number of eight digits, the first one in the lowest byte.
#[inline]
fn drawn_together(digits: u64) -> u32 {
    let pairs = (digits.wrapping_mul(10) + (digits >> 8)) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs.wrapping_mul(100) + (pairs >> 16)) & 0x0000_ffff_0000_ffff;
    (fours.wrapping_mul(10_000) + (fours >> 32)) as u32
}

/// Reads any number that begins at `from`.
#[cold]
fn read_any(bytes: &[u8], from: usize) -> Found {
    let mut i = from;
    let negative = bytes.get(i) == Some(&b'-');
    if negative || bytes.get(i) == Some(&b'+') {
        i = skip_blanks(bytes, i + 1);
    }
    let (mut seen, mut point) = (false, false);
    let mut to = from;
    while let Some(&byte) = bytes.get(i) {
        match byte {
            b'0'..=b'9' => seen = true,
            b'.' if !point => point = true,
            b' ' | b'\t' => {
                let next = skip_blanks(bytes, i);
                match bytes.get(next) {
                    Some(b'0'..=b'9') => i = next,
                    Some(b'.') if !point => i = next,
                    _ => break,
                }
                continue;
            }
            _ => break,
        }
        i += 1;
        to = i;
    }
    let size = seen
        .then(|| bytes.get(from..to).and_then(read_long))
        .flatten();
    Found {
        value: size.map(|s| if negative { -s } else { s }),
        from,
        to: if seen { to } else { from },
    }
}

/// The size, without sign, of a number whose bytes may hold blanks.
fn read_long(text: &[u8]) -> Option<f64> {
    let plain: String = text
        .iter()
        .filter(|b| b.is_ascii_digit() || **b == b'.')
        .map(|b| *b as char)
        .collect();
    plain.parse().ok().filter(|v: &f64| v.is_finite())
}

/// A decimal number held exactly, as a count of its last decimal's units.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    units: i128,
    decimals: u32,
}

/// More decimals than this are not kept; no machine resolves them.
const MOST_DECIMALS: u32 = 12;

/// Numbers from here on have no exact decimal here.
const MOST_SIZE: f64 = 1e15;

impl Decimal {
    /// The number written in `text`; `None` if it is none, is 10¹⁵ or more, or has more than
    /// 12 decimals.
    ///
    /// ```
    /// use toolpath::number::Decimal;
    /// let e = Decimal::from_text(b"-0.12345").expect("a number");
    /// assert_eq!(e.decimals(), 5);
    /// assert_eq!(e.to_string(), "-0.12345");
    /// ```
    pub fn from_text(text: &[u8]) -> Option<Self> {
        let (mut units, mut decimals, mut point, mut negative) = (0_i128, 0_u32, false, false);
        for byte in text {
            match byte {
                b'-' => negative = true,
                b'.' => point = true,
                b'0'..=b'9' => {
                    units = units
                        .checked_mul(10)?
                        .checked_add(i128::from(byte - b'0'))?;
                    decimals += u32::from(point);
                }
                b'+' | b' ' | b'\t' => {}
                _ => return None,
            }
        }
        let limit = MOST_SIZE as i128 * 10_i128.pow(decimals.min(MOST_DECIMALS));
        (decimals <= MOST_DECIMALS && units < limit).then_some(Self {
            units: if negative { -units } else { units },
            decimals,
        })
    }

    /// The nearest number with so many decimals (at most 12); `None` unless it is finite and
    /// smaller than 10¹⁵.
    pub fn nearest(value: f64, decimals: u32) -> Option<Self> {
        let decimals = decimals.min(MOST_DECIMALS);
        (value.abs() < MOST_SIZE).then(|| Self {
            units: (value * 10_f64.powi(decimals as i32)).round() as i128,
            decimals,
        })
    }

    /// How many decimals it has.
    pub fn decimals(self) -> u32 {
        self.decimals
    }

    /// The same number with more decimals; as it is if it has as many already.
    pub(crate) fn widened(self, decimals: u32) -> Self {
        let decimals = decimals.min(MOST_DECIMALS);
        match decimals.checked_sub(self.decimals) {
            Some(more) => Self {
                units: self.units * 10_i128.pow(more),
                decimals,
            },
            None => self,
        }
    }

    /// The exact difference.
    pub fn minus(self, other: Self) -> Self {
        let decimals = self.decimals.max(other.decimals);
        Self {
            units: self.widened(decimals).units - other.widened(decimals).units,
            decimals,
        }
    }

    /// The nearest `f64`.
    pub fn value(self) -> f64 {
        self.units as f64 / 10_f64.powi(self.decimals as i32)
    }
}

impl std::fmt::Display for Decimal {
    /// Without trailing noughts beyond the point, and with no point before nothing.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (mut units, mut decimals) = (self.units.unsigned_abs(), self.decimals);
        while decimals > 0 && units % 10 == 0 {
            units /= 10;
            decimals -= 1;
        }
        if self.units < 0 {
            out.write_str("-")?;
        }
        let power = 10_u128.pow(decimals);
        write!(out, "{}", units / power)?;
        if decimals > 0 {
            write!(out, ".{:0width$}", units % power, width = decimals as usize)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn value(text: &str) -> Option<f64> {
        read(text.as_bytes(), 0).value
    }

    #[test]
    fn nist_3_3_2_1_forms_of_a_number() {
        for (text, expected) in [
            ("3", 3.0),
            ("+3", 3.0),
            ("-3", -3.0),
            ("3.", 3.0),
            (".5", 0.5),
            ("-.5", -0.5),
            ("+0. 12 34", 0.1234),
            ("  12\t34", 1234.0),
            ("007.50", 7.5),
        ] {
            assert_eq!(value(text), Some(expected), "{text}");
        }
        for text in ["", "-", ".", "+.", "x", "#5", "[1]", "--5"] {
            assert_eq!(value(text), None, "{text}");
        }
    }

    #[test]
    fn a_number_ends_where_its_digits_end() {
        assert_eq!(read(b"X12.5 Y3", 1).to, 5);
        assert_eq!(read(b"X 12 ; a", 1).to, 4);
        // No exponent: the letter begins the next word.
        assert_eq!(read(b"X1e999", 1).to, 2);
        assert_eq!(value("1.2.3"), Some(1.2));
    }

    #[test]
    fn endless_digits_do_no_harm() {
        assert_eq!(value(&"9".repeat(400)), None);
        assert_eq!(value(&format!("0.{}1", "0".repeat(400))), Some(0.0));
        assert_eq!(value(&format!("1.{}", "0".repeat(400))), Some(1.0));
        assert_eq!(Decimal::from_text("9".repeat(400).as_bytes()), None);
        assert_eq!(Decimal::nearest(f64::NAN, 6), None);
        assert_eq!(Decimal::nearest(1e300, 6), None);
    }

    proptest! {
        #[test]
        fn reads_what_the_standard_library_reads(text in "[+-]?[0-9]{0,25}\\.?[0-9]{1,25}") {
            prop_assert_eq!(value(&text), text.parse::<f64>().ok());
        }

        #[test]
        fn short_numbers_are_what_the_standard_library_reads_to_the_bit(
            text in "-?([0-9]{1,9}(\\.[0-9]{0,6})?|\\.[0-9]{1,9})",
            after in "[ -~]{0,9}",
        ) {
            prop_assume!(!after.starts_with(|c: char| c.is_ascii_digit() || c == '.'));
            let line = format!("X{text}{after}");
            let expected = text.parse::<f64>().expect("a number").to_bits();
            let found = read_short(line.as_bytes(), 1).map(|(value, to)| (value.to_bits(), to));
            prop_assert_eq!(found, Some((expected, 1 + text.len())));
            let digits = read_digits(line.as_bytes(), 1).map(|(value, to)| (value.to_bits(), to));
            prop_assert_eq!(digits, found);
        }

        #[test]
        fn short_or_digit_by_digit_is_the_same(text in "[-+.0-9 a]{0,20}", at in 0_usize..4) {
            let bits = |(value, to): (f64, usize)| (value.to_bits(), to);
            let bytes = text.as_bytes();
            prop_assert_eq!(
                read_short(bytes, at).map(bits),
                read_digits(bytes, at).map(bits)
            );
        }

        #[test]
        fn a_decimal_is_exact(text in "-?[0-9]{1,9}(\\.[0-9]{1,6})?") {
            let decimal = Decimal::from_text(text.as_bytes()).expect("in range");
            prop_assert_eq!(decimal.to_string().parse::<f64>().ok(), text.parse::<f64>().ok());
            prop_assert_eq!(Some(decimal.value()), text.parse::<f64>().ok());
        }
    }
}
