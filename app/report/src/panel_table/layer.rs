//! One layer as the tables see it.

use blend::{Lab, Shares, ciede2000};

/// Shares are keyed in as whole percents (common practice, no source).
const STEP: f64 = 0.01;

/// Shares in whole steps that can be keyed in.
pub(super) fn keyed(shares: &Shares) -> Shares {
    shares.snapped(STEP)
}

/// One layer as the tables see it: they give it one blend.
pub(super) struct Layer {
    pub bottom_mm: f64,
    pub top_mm: f64,
    /// The blend of most of what is seen.
    pub main: Shares,
    /// The region of that.
    pub region: usize,
    /// All colours that are asked for, with their visible area.
    pub seen: Vec<(Lab, f64)>,
}

impl Layer {
    pub(super) fn area_mm2(&self) -> f64 {
        self.seen.iter().map(|(_, area)| area).sum()
    }

    /// The sum of squared ΔE00 by area, with one colour all over.
    pub(super) fn cost(&self, lab: Lab) -> f64 {
        let square = |(asked, area): &(Lab, f64)| area * ciede2000(*asked, lab).powi(2);
        self.seen.iter().map(square).sum()
    }
}
