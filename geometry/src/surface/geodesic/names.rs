//! Numbers for those edges and vertices that are come to.

use rustc_hash::FxHashMap;

/// No such edge, vertex or window.
pub(super) const NONE: u32 = u32::MAX;

/// For each name its number: looked up by hash for a few, in a table for most of a mesh.
#[derive(Clone)]
pub(super) enum Names {
    Sparse(FxHashMap<u32, u32>),
    Dense(Vec<u32>),
}

impl Names {
    pub(super) fn sparse() -> Self {
        Self::Sparse(FxHashMap::default())
    }

    pub(super) fn dense(count: usize) -> Self {
        Self::Dense(vec![NONE; count])
    }

    #[inline]
    pub(super) fn get(&self, name: u32) -> Option<u32> {
        match self {
            Self::Sparse(known) => known.get(&name).copied(),
            Self::Dense(known) => known.get(name as usize).copied().filter(|&n| n != NONE),
        }
    }

    pub(super) fn set(&mut self, name: u32, number: u32) {
        match self {
            Self::Sparse(known) => {
                known.insert(name, number);
            }
            Self::Dense(known) => {
                if let Some(known) = known.get_mut(name as usize) {
                    *known = number;
                }
            }
        }
    }
}
