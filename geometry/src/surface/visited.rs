//! Which facets were come to.

/// A mark for each facet of a mesh, to be used again and again: whoever puts marks takes them
/// away.
pub(crate) struct Visited(Vec<u64>);

impl Visited {
    /// Without marks.
    pub(crate) fn new(facets: usize) -> Self {
        Self(vec![0; facets.div_ceil(64)])
    }

    /// Puts a mark; whether there was none. A facet beyond the last is taken for marked.
    pub(crate) fn put(&mut self, facet: u32) -> bool {
        let bit = 1 << (facet % 64);
        match self.0.get_mut(facet as usize / 64) {
            Some(word) if *word & bit == 0 => {
                *word |= bit;
                true
            }
            _ => false,
        }
    }

    /// Takes a mark away.
    pub(crate) fn take(&mut self, facet: u32) {
        if let Some(word) = self.0.get_mut(facet as usize / 64) {
            *word &= !(1 << (facet % 64));
        }
    }

    /// Whether a facet has a mark.
    pub(crate) fn has(&self, facet: u32) -> bool {
        let word = self.0.get(facet as usize / 64);
        word.is_some_and(|word| word >> (facet % 64) & 1 == 1)
    }

    /// The facets of a list, each once and in rising order. There must be no marks, and there
    /// are none afterwards.
    pub(crate) fn each_once(&mut self, mut facets: Vec<u32>) -> Vec<u32> {
        if facets.len() < self.0.len() / 16 {
            facets.sort_unstable();
            facets.dedup();
        } else {
            facets.retain(|&facet| self.put(facet));
            let count = facets.len();
            facets.clear();
            facets.reserve_exact(count);
            for (place, word) in self.0.iter_mut().enumerate() {
                while *word != 0 {
                    facets.push(64 * place as u32 + word.trailing_zeros());
                    *word &= *word - 1;
                }
            }
        }
        facets.shrink_to_fit();
        facets
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_are_put_in_order_and_leave_no_marks() {
        let mut visited = Visited::new(2000);
        for count in [0, 1, 3, 900] {
            let list: Vec<u32> = (0..count).map(|i| (i * 7919 + 13) % 1999 / 2).collect();
            let mut wanted = list.clone();
            wanted.sort_unstable();
            wanted.dedup();
            assert_eq!(visited.each_once(list), wanted);
            assert!((0..2000).all(|facet| !visited.has(facet)));
        }
        assert!(visited.put(5) && !visited.put(5) && visited.has(5));
        visited.take(5);
        assert!(!visited.has(5) && !visited.put(5000));
    }
}
