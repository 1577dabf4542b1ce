//! A set of facets, one bit each: what shells and creases come down to.

use std::sync::Arc;

#[derive(Clone, Debug)]
pub(super) struct FacetSet(Arc<[u64]>);

impl FacetSet {
    pub(super) fn new(facets: impl Iterator<Item = bool>) -> Self {
        let mut words = Vec::new();
        for (i, inside) in facets.enumerate() {
            if i % 64 == 0 {
                words.push(0);
            }
            if let Some(word) = words.last_mut() {
                *word |= u64::from(inside) << (i % 64);
            }
        }
        Self(words.into())
    }

    pub(super) fn contains(&self, facet: u32) -> bool {
        let word = self.0.get(facet as usize / 64).copied().unwrap_or(0);
        word >> (facet % 64) & 1 == 1
    }
}
