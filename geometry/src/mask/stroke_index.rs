//! For each facet the strokes that matter there.

use super::Mark;
use crate::surface::Visited;

/// The number of a stroke in a list.
pub(super) fn number(name: u32) -> usize {
    name as usize / 2
}

/// Whether a stroke in a list covers all of the facet.
pub(super) fn is_whole(name: u32) -> bool {
    name % 2 == 1
}

/// For a facet the strokes that matter, the last drawn last, each written
/// `2 * number + (covers all of it)`. Only the first may cover all of it.
///
/// Facets are marked by bits, and counted for every 64 of them, so that most questions are about
/// one word of memory, and a facet without strokes takes a bit and a half.
#[derive(Clone, Default)]
pub(super) struct StrokeIndex {
    /// A bit for each facet that has a list.
    listed: Vec<u64>,
    /// How many facets have one before each 64.
    before: Vec<u32>,
    /// Where lists begin, and where the last ends.
    starts: Vec<u32>,
    names: Vec<u32>,
}

impl StrokeIndex {
    /// Of all marks, of which the first `known` are in this index already. It goes from the last
    /// drawn down, so that nothing is noted where one above covers all of the facet.
    pub(super) fn grown(&self, marks: &[Mark], known: usize) -> Self {
        let facets = marks.first().map_or(0, |mark| mark.stroke.facet_count());
        let mut covered = Visited::new(facets);
        // The last drawn first.
        let mut entries: Vec<(u32, u32)> = Vec::new();
        for (number, mark) in marks.iter().enumerate().skip(known).rev() {
            let name = 2 * number as u32;
            let part = mark.stroke.part_facets().iter();
            entries.extend(part.filter(|f| !covered.has(**f)).map(|f| (*f, name)));
            let whole = mark.stroke.whole_facets().iter();
            entries.extend(whole.filter(|f| covered.put(**f)).map(|f| (*f, name + 1)));
        }
        self.each(|facet, names| {
            if !covered.has(facet) {
                entries.extend(names.iter().rev().map(|name| (facet, *name)));
            }
        });
        Self::of(facets, &entries)
    }

    /// Of facets and names, those that come last in a list first.
    fn of(facets: usize, entries: &[(u32, u32)]) -> Self {
        let mut listed = vec![0u64; facets.div_ceil(64)];
        for (facet, _) in entries {
            listed[*facet as usize / 64] |= 1 << (facet % 64);
        }
        let mut count = 0;
        let before = listed.iter().map(|word| {
            count += word.count_ones();
            count - word.count_ones()
        });
        let before = before.collect();
        let mut index = Self {
            listed,
            before,
            starts: vec![0; count as usize + 1],
            names: vec![0; entries.len()],
        };
        let places: Vec<u32> = entries.iter().filter_map(|e| index.place(e.0)).collect();
        for place in &places {
            index.starts[*place as usize] += 1;
        }
        // First where each list ends, and from there down to where it begins.
        let mut end = 0;
        for start in &mut index.starts {
            end += *start;
            *start = end;
        }
        for (place, (_, name)) in places.iter().zip(entries) {
            let start = &mut index.starts[*place as usize];
            *start -= 1;
            index.names[*start as usize] = *name;
        }
        index
    }

    /// Which of the lists a facet has.
    fn place(&self, facet: u32) -> Option<u32> {
        let (word, bit) = (facet as usize / 64, 1u64 << (facet % 64));
        let bits = *self.listed.get(word)?;
        (bits & bit != 0).then(|| self.before[word] + (bits & (bit - 1)).count_ones())
    }

    /// The strokes of a facet.
    pub(super) fn at(&self, facet: u32) -> &[u32] {
        self.place(facet).map_or(&[], |place| self.list(place))
    }

    fn list(&self, place: u32) -> &[u32] {
        let (from, to) = (self.starts[place as usize], self.starts[place as usize + 1]);
        &self.names[from as usize..to as usize]
    }

    /// Calls `each` with every facet that has a list, and the list.
    pub(super) fn each(&self, mut each: impl FnMut(u32, &[u32])) {
        let mut place = 0;
        for (word, bits) in self.listed.iter().enumerate() {
            let mut bits = *bits;
            while bits != 0 {
                each(64 * word as u32 + bits.trailing_zeros(), self.list(place));
                bits &= bits - 1;
                place += 1;
            }
        }
    }
}
