//! Additive mixing: what the eye makes of coloured dots too small to see.

use super::MixModel;
use crate::{Shares, Spool, Xyz};

/// Additive mixing of the spools' colours in linear light.
///
/// It treats a blend as a fine mosaic of its spools. Plastic that truly mixes absorbs more,
/// so this is kept as the plain yardstick that a better model has to beat.
pub struct LinearLight {
    spools: Vec<Xyz>,
}

impl LinearLight {
    /// Takes the spools' own colours.
    pub fn new(spools: &[Spool]) -> Self {
        Self {
            spools: spools.iter().map(Spool::xyz).collect(),
        }
    }
}

impl MixModel for LinearLight {
    fn name(&self) -> String {
        "linear light, from the spools' own colours".to_owned()
    }

    fn count(&self) -> usize {
        self.spools.len()
    }

    fn mix(&self, shares: &Shares) -> Xyz {
        let mut sum = Xyz::BLACK;
        for (spool, share) in self.spools.iter().zip(shares.as_slice()) {
            sum.x += spool.x * share;
            sum.y += spool.y * share;
            sum.z += spool.z * share;
        }
        sum
    }
}
