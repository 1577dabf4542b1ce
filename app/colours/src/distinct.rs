//! The different colours of many samples, each once.

use blend::{Lab, Srgb, Weighting, ciede2000_by};
use geometry::pieces::NO_LABEL;
use rayon::prelude::*;

/// How many 8-bit colours there are.
const ALL: usize = 1 << 24;

/// Different colours, each with a place in a list: in the order of their codes.
#[derive(Clone, Debug)]
pub(crate) struct Distinct {
    /// A bit for each colour that there is, and how many stand before each word: so a colour's
    /// place is found without a search.
    bits: Vec<u64>,
    before: Vec<u32>,
    labs: Vec<Lab>,
}

impl Distinct {
    /// The colours of some samples; some have none.
    pub(crate) fn of(samples: impl Iterator<Item = Option<Srgb>>) -> Self {
        let mut bits = vec![0u64; ALL / 64];
        for Srgb([r, g, b]) in samples.flatten() {
            let code = u32::from_be_bytes([0, r, g, b]) as usize;
            if let Some(word) = bits.get_mut(code / 64) {
                *word |= 1 << (code % 64);
            }
        }
        let mut count = 0;
        let before = bits
            .iter()
            .map(|word| {
                count += word.count_ones();
                count - word.count_ones()
            })
            .collect();
        let found = Self {
            bits,
            before,
            labs: Vec::new(),
        };
        let colours: Vec<Srgb> = found.colours().collect();
        let lab = |colour: &Srgb| colour.to_xyz().to_lab();
        Self {
            labs: colours.par_iter().map(lab).collect(),
            ..found
        }
    }

    /// How many there are.
    pub(crate) fn count(&self) -> usize {
        self.labs.len()
    }

    /// All of them in their order.
    pub(crate) fn colours(&self) -> impl Iterator<Item = Srgb> + '_ {
        self.bits.iter().enumerate().flat_map(|(place, word)| {
            let mut left = *word;
            std::iter::from_fn(move || {
                let bit = (left != 0).then(|| left.trailing_zeros())?;
                left &= left - 1;
                let [_, r, g, b] = (64 * place as u32 + bit).to_be_bytes();
                Some(Srgb([r, g, b]))
            })
        })
    }

    /// The place of a colour; none if it was not among the samples.
    pub(crate) fn place(&self, Srgb([r, g, b]): Srgb) -> Option<usize> {
        let code = u32::from_be_bytes([0, r, g, b]) as usize;
        let (word, before) = (self.bits.get(code / 64)?, self.before.get(code / 64)?);
        let below = word & ((1u64 << (code % 64)) - 1);
        let is_here = word >> (code % 64) & 1 == 1;
        is_here.then(|| (before + below.count_ones()) as usize)
    }

    /// The colour at a place.
    pub(crate) fn lab(&self, place: usize) -> Option<Lab> {
        self.labs.get(place).copied()
    }

    /// For each place, which of a list is nearest; no label if the list is empty.
    pub(crate) fn nearest(&self, among: &[Lab], weighting: Weighting) -> Vec<u8> {
        let nearest = |lab: &Lab| {
            let off = |(label, one): (u8, &Lab)| (label, ciede2000_by(*lab, *one, weighting));
            let all = (0..NO_LABEL).zip(among).map(off);
            let least = all.min_by(|a, b| a.1.total_cmp(&b.1));
            least.map_or(NO_LABEL, |(label, _)| label)
        };
        self.labs.par_iter().map(nearest).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_colour_is_once_in_the_list_and_found_at_its_place() {
        let samples = [[9, 9, 9], [0, 0, 0], [255, 255, 255], [9, 9, 9], [0, 0, 63]];
        let samples = samples.map(|code| Some(Srgb(code)));
        let distinct = Distinct::of(samples.into_iter().chain([None]));
        let colours: Vec<Srgb> = distinct.colours().collect();
        assert_eq!(distinct.count(), 4);
        assert_eq!(
            colours.iter().map(|c| c.0[2]).collect::<Vec<_>>(),
            [0, 63, 9, 255]
        );
        for (place, colour) in colours.iter().enumerate() {
            assert_eq!(distinct.place(*colour), Some(place));
            assert_eq!(distinct.lab(place), Some(colour.to_xyz().to_lab()));
        }
        assert_eq!(distinct.place(Srgb([1, 0, 0])), None);
        let black_and_white = [Srgb([0; 3]), Srgb([255; 3])].map(|c| c.to_xyz().to_lab());
        let nearest = distinct.nearest(&black_and_white, Weighting::default());
        assert_eq!(nearest, [0, 0, 0, 1]);
        assert_eq!(distinct.nearest(&[], Weighting::default()), [NO_LABEL; 4]);
    }
}
