//! The marks on the card: a square of 7 × 7 cells, a black border round 5 × 5 bits.
//!
//! The code is the one of five-bit rows that the first publication of such marks describes
//! (Garrido-Jurado, Muñoz-Salinas, Madrid-Cuevas and Marín-Jiménez, *Pattern Recognition* 47,
//! 2280, 2014, names it as its forerunner; from memory): every row carries two bits of a number of ten, as one of four
//! words that differ in three bits or more. It is a rule and no table, so nothing of anybody's
//! is copied; `tests/outside` holds it against a library's table of the same family.

/// Cells of the bits, along a side.
pub const BITS: usize = 5;
/// Cells of a mark with its border, along a side.
pub const CELLS: usize = BITS + 2;

/// A row's word for two bits, the leftmost cell first; 1 is white.
const WORDS: [u32; 4] = [0b10000, 0b10111, 0b01001, 0b01110];

/// The numbers on the card, two columns from the top: those from 0 up that differ from each
/// other and from themselves turned, in ten cells or more (the test counts).
pub const NUMBERS: [u32; 8] = [4, 19, 41, 62, 79, 88, 117, 157];

/// So many wrong cells are put right. Four would still be safe against taking one mark for
/// another, but not against taking a stain for a mark.
pub const MOST_WRONG: u32 = 2;

/// The bits of a number, row by row from the upper left, the first one highest.
pub fn bits(number: u32) -> u32 {
    (0..BITS as u32).fold(0, |bits, row| {
        let two = (number >> (2 * (BITS as u32 - 1 - row))) & 3;
        let word = WORDS.get(two as usize).copied().unwrap_or(0);
        bits << BITS | word
    })
}

/// Whether a cell is white, in `bits` as they stand upright.
pub fn is_white(bits: u32, row: usize, column: usize) -> bool {
    let place = BITS * BITS - 1 - (row * BITS + column);
    bits >> place & 1 == 1
}

/// The bits seen when the mark is turned by a quarter, clockwise.
pub fn turned(bits: u32) -> u32 {
    let mut out = 0;
    for row in 0..BITS {
        for column in 0..BITS {
            out = out << 1 | u32::from(is_white(bits, BITS - 1 - column, row));
        }
    }
    out
}

/// A mark as it was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Read {
    /// Its place in [`NUMBERS`].
    pub index: usize,
    /// By how many quarters it is turned clockwise in the picture.
    pub quarters: usize,
    /// Cells that were wrong.
    pub wrong: u32,
}

/// Which mark of the card some bits are, if any.
pub fn read(seen: u32) -> Option<Read> {
    let all = NUMBERS.iter().enumerate().flat_map(|(index, number)| {
        let mut bits = bits(*number);
        (0..4).map(move |quarters| {
            let wrong = (bits ^ seen).count_ones();
            bits = turned(bits);
            Read {
                index,
                quarters,
                wrong,
            }
        })
    });
    all.min_by_key(|read| read.wrong)
        .filter(|read| read.wrong <= MOST_WRONG)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_numbers_differ_in_ten_cells_or_more_however_they_are_turned() {
        for (i, one) in NUMBERS.iter().enumerate() {
            for (j, other) in NUMBERS.iter().enumerate() {
                let mut seen = bits(*other);
                for quarter in 0..4 {
                    if i != j || quarter > 0 {
                        assert!((bits(*one) ^ seen).count_ones() >= 10, "{one} {other}");
                    }
                    seen = turned(seen);
                }
                assert_eq!(seen, bits(*other), "four quarters are a whole turn");
            }
        }
    }

    proptest! {
        #[test]
        fn two_wrong_cells_are_put_right(
            index in 0..8_usize, quarters in 0..4_usize, a in 0..25_u32, b in 0..25_u32,
        ) {
            let mut seen = bits(NUMBERS[index]);
            for _ in 0..quarters {
                seen = turned(seen);
            }
            let flipped = seen ^ (1 << a) ^ (1 << b);
            let found = read(flipped).unwrap();
            prop_assert_eq!((found.index, found.quarters), (index, quarters));
        }
    }
}
