//! Which regions may have a point of a height: with thousands of bands, few of them.

/// For each stretch of height a set of regions, as bits in the order of their precedence.
#[derive(Clone, Debug, Default)]
pub(super) struct ByHeight {
    /// Where sets change, mm, rising: set `i` is for heights above edge `i - 1`, up to edge `i`.
    edges_mm: Vec<f64>,
    /// Words of 64 bits in a set.
    words: usize,
    sets: Vec<u64>,
    /// Words in which a set's words that are not 0 are marked.
    marks: usize,
    marked: Vec<u64>,
}

impl ByHeight {
    /// Of the least and the greatest height of each region, mm, the topmost region first.
    pub(super) fn new(ranges_mm: &[(f64, f64)]) -> Self {
        let ends = ranges_mm.iter().flat_map(|&(low, high)| [low, high]);
        let mut edges_mm: Vec<f64> = ends.filter(|end| end.is_finite()).collect();
        edges_mm.sort_by(f64::total_cmp);
        edges_mm.dedup();
        let words = ranges_mm.len().div_ceil(64);
        let marks = words.div_ceil(64);
        let mut by_height = Self {
            sets: vec![0; words * (edges_mm.len() + 1)],
            marked: vec![0; marks * (edges_mm.len() + 1)],
            edges_mm,
            words,
            marks,
        };
        for (place, &(low, high)) in ranges_mm.iter().enumerate() {
            for set in by_height.set_at(low)..=by_height.set_at(high) {
                if let Some(word) = by_height.sets.get_mut(set * words + place / 64) {
                    *word |= 1 << (place % 64);
                }
                let mark = set * marks + place / (64 * 64);
                if let Some(word) = by_height.marked.get_mut(mark) {
                    *word |= 1 << (place / 64 % 64);
                }
            }
        }
        by_height
    }

    fn set_at(&self, height_mm: f64) -> usize {
        self.edges_mm.partition_point(|&edge| edge < height_mm)
    }

    /// The places, in the list this was made from, of the regions that may have a point of a
    /// height, in order.
    pub(super) fn at(&self, height_mm: f64) -> impl Iterator<Item = usize> + '_ {
        self.between(height_mm, height_mm)
    }

    /// The same for those that may have a point between two heights.
    pub(super) fn between(&self, low_mm: f64, high_mm: f64) -> impl Iterator<Item = usize> + '_ {
        let sets = self.set_at(low_mm)..=self.set_at(high_mm);
        let all = move |of: &[u64], each: usize, i: usize| {
            let word = |set: usize| of.get(set * each + i).copied();
            sets.clone()
                .filter_map(word)
                .fold(0, |all, word| all | word)
        };
        let words = {
            let all = all.clone();
            (0..self.marks).flat_map(move |i| {
                bits(all(&self.marked, self.marks, i)).map(move |bit| 64 * i + bit)
            })
        };
        words.flat_map(move |i| bits(all(&self.sets, self.words, i)).map(move |bit| 64 * i + bit))
    }
}

/// The places of the bits of a word that are set.
fn bits(mut left: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let bit = left.trailing_zeros() as usize;
        left &= left.wrapping_sub(1);
        (bit < 64).then_some(bit)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn no_region_of_a_height_is_missed(
            ranges in prop::collection::vec((-9i8..9, 0i8..9), 0..150),
            heights in prop::collection::vec(-12i8..20, 9),
        ) {
            let range = |&(low, by): &(i8, i8)| (f64::from(low), f64::from(low + by));
            let ranges: Vec<(f64, f64)> = ranges.iter().map(range).collect();
            let by_height = ByHeight::new(&ranges);
            for height in heights.into_iter().map(f64::from).chain([0.5, f64::INFINITY]) {
                let found: Vec<usize> = by_height.at(height).collect();
                prop_assert!(found.is_sorted());
                for (place, &(low, high)) in ranges.iter().enumerate() {
                    let has = low <= height && height <= high;
                    prop_assert!(!has || found.contains(&place));
                }
            }
        }
    }

    #[test]
    fn of_many_bands_one_or_two_are_asked() {
        let bands: Vec<(f64, f64)> = (0..4000)
            .map(|i| (f64::from(i), f64::from(i + 1)))
            .collect();
        let by_height = ByHeight::new(&bands);
        // One that begins where a stretch ends may come along.
        assert_eq!(by_height.at(1234.5).collect::<Vec<_>>(), [1234, 1235]);
        assert_eq!(by_height.at(1234.0).collect::<Vec<_>>(), [1233, 1234]);
    }
}
