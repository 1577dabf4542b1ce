//! The letters and codes of one line, gathered before any of it acts.

use crate::plain::Numbers;

/// How a move goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Motion {
    Rapid,
    Straight,
    Clockwise,
    CounterClockwise,
}

/// The words of one line by letter.
pub(super) struct Letters {
    pub(super) value: [f64; 26],
    pub(super) given: u32,
    pub(super) repeated: bool,
}

impl Letters {
    #[inline]
    pub(super) fn bit(letter: u8) -> u32 {
        1 << (letter.wrapping_sub(b'A') & 31)
    }

    #[inline]
    pub(super) fn has(&self, letter: u8) -> bool {
        self.given & Self::bit(letter) != 0
    }

    #[inline]
    pub(super) fn any(&self, letters: u32) -> bool {
        self.given & letters != 0
    }

    #[inline]
    pub(super) fn get(&self, letter: u8) -> Option<f64> {
        let index = usize::from(letter.wrapping_sub(b'A'));
        self.has(letter)
            .then(|| self.value.get(index).copied())
            .flatten()
    }

    #[inline]
    pub(super) fn take(&mut self, letter: u8, value: f64) {
        let bit = Self::bit(letter);
        if self.given & bit != 0 {
            self.repeated = true;
        } else if let Some(slot) = self.value.get_mut(usize::from(letter.wrapping_sub(b'A'))) {
            *slot = value;
            self.given |= bit;
        }
    }
}

impl Letters {
    /// Those that tell a straight move.
    pub(super) fn numbers(&self) -> Numbers {
        let mut numbers = Numbers::default();
        for (place, letter) in [b'X', b'Y', b'Z', b'E', b'F'].into_iter().enumerate() {
            if let Some(value) = self.get(letter) {
                numbers.take(place, value);
            }
        }
        numbers
    }
}

const fn letters(mut of: &[u8]) -> u32 {
    let mut bits = 0;
    while let [letter, rest @ ..] = of {
        bits |= 1 << (*letter - b'A');
        of = rest;
    }
    bits
}

pub(super) const MOVING: u32 = letters(b"XYZE");
pub(super) const ARC_WORDS: u32 = letters(b"IJKR");

/// What a line's G, M and T words ask for, gathered before any of it acts.
#[derive(Default)]
pub(super) struct Asked {
    pub(super) motion: Option<Motion>,
    /// A G, M or T word that takes the axis letters for itself.
    pub(super) taken: bool,
    pub(super) home: bool,
    pub(super) set_place: bool,
    pub(super) clear_offsets: bool,
    pub(super) machine_place: bool,
    pub(super) g10: bool,
    pub(super) g11: bool,
    pub(super) tool: Option<u32>,
    pub(super) m200: bool,
    pub(super) m221: bool,
    /// A letter of place or filament has no number that can be read.
    pub(super) bare: bool,
}
