//! Mixing models: from shares to a colour.

use crate::{Shares, Spool, Xyz};

/// What a blend of the spools looks like.
pub trait MixModel: Send + Sync {
    /// The model's name and where its numbers come from, for the sheet.
    fn name(&self) -> String;

    /// How many components it mixes.
    fn count(&self) -> usize;

    /// The colour of a blend of opaque plastic.
    fn mix(&self, shares: &Shares) -> Xyz;

    /// One standard error of the predicted colour as ΔE00, where a fit tells it.
    fn uncertainty(&self, _shares: &Shares) -> Option<f64> {
        None
    }
}

/// Additive mixing of the spools' colours in linear light.
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
        let mut sum = Xyz {
            x: 0.0,
            y: 0.0,
            z: 0.0,
        };
        for (spool, share) in self.spools.iter().zip(shares.as_slice()) {
            sum.x += spool.x * share;
            sum.y += spool.y * share;
            sum.z += spool.z * share;
        }
        sum
    }
}
