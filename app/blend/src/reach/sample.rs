//! The reachable colours, for a chart.

use super::lattice::Lattice;
use crate::{Lab, MixModel, ShareLimits, Shares};

/// A blend and its colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reached {
    /// The blend.
    pub shares: Shares,
    /// Its predicted colour.
    pub lab: Lab,
}

/// Colours that the model's spools can reach, spread evenly over the shares: the curve from
/// the first spool to the second for two, an area for three, a body for more. About `about`
/// of them, or fewer where the machine's limits make several blends one.
///
/// ```
/// use blend::{LinearLight, ShareLimits, Spool, SpoolColour, reach};
/// let spool = |code: &str| Spool::new("x", SpoolColour::Hex(code.parse().expect("a colour")));
/// let model = LinearLight::new(&[spool("#ffffff"), spool("#000000")]);
/// let curve = reach::sample(&model, ShareLimits::NONE, 100);
/// assert_eq!(curve.len(), 100);
/// assert!(curve[0].lab.l > 99.9 && curve[99].lab.l < 0.1);
/// ```
pub fn sample(model: &dyn MixModel, limits: ShareLimits, about: usize) -> Vec<Reached> {
    let count = model.count();
    let mut reached: Vec<Reached> = Vec::new();
    for blend in Lattice::new(count, Lattice::steps_for(count, about.clamp(2, 1_000_000))) {
        let shares = blend.within(limits);
        // The limits draw neighbours together, and neighbours follow each other.
        if reached.last().is_none_or(|before| before.shares != shares) {
            let lab = model.mix(&shares).to_lab();
            reached.push(Reached { shares, lab });
        }
    }
    reached
}
