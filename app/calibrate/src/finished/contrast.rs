//! How well the regions of a turn tell apart what is seen.

use std::collections::BTreeMap;

/// Sights of small regions that tell how the part is turned.
const FEWEST: f64 = 12.0;
/// A step of light so large, as a logarithm, is a region's and not the shading's.
const CLEAR: f64 = 0.3;
/// A turn is as good if the regions explain so much of what they do in the best.
pub(super) const NEAR_BEST: f64 = 0.75;

/// How well regions tell apart what is seen at each height.
#[derive(Default)]
pub(super) struct Contrast(BTreeMap<usize, BTreeMap<usize, Sum>>);

/// Logarithms of light, summed.
#[derive(Clone, Copy, Default)]
struct Sum {
    count: f64,
    sum: [f64; 3],
}

impl Sum {
    fn plus(self, other: Self) -> Self {
        let mut sum = self.sum;
        for (sum, v) in sum.iter_mut().zip(other.sum) {
            *sum += v;
        }
        let count = self.count + other.count;
        Self { count, sum }
    }

    /// What the mean explains of the squares.
    fn explained(&self) -> f64 {
        self.sum.iter().map(|v| v * v).sum::<f64>() / self.count.max(1.0)
    }
}

impl Contrast {
    pub(super) fn add(&mut self, slot: usize, region: usize, logs: [f64; 3]) {
        let here = self.0.entry(slot).or_default().entry(region).or_default();
        *here = here.plus(Sum {
            count: 1.0,
            sum: logs,
        });
    }

    /// What of the squares at all heights the regions explain, beyond the heights.
    pub(super) fn gain(&self) -> f64 {
        let slots = self.0.values().map(|regions| {
            let whole = regions
                .values()
                .fold(Sum::default(), |all, sum| all.plus(*sum));
            let apart: f64 = regions.values().map(Sum::explained).sum();
            apart - whole.explained()
        });
        slots.sum()
    }

    /// Whether that is more than shading from side to side makes: for each sight that is not of its
    /// height's largest region.
    pub(super) fn is_clear(&self) -> bool {
        let few = self.0.values().map(|regions| {
            let counts = || regions.values().map(|sum| sum.count);
            counts().sum::<f64>() - counts().fold(0.0, f64::max)
        });
        let few: f64 = few.sum();
        few >= FEWEST && self.gain() > 3.0 * CLEAR * CLEAR * few
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regions_in_their_place_explain_more_than_beside_it() {
        // A light wall that is shaded from side to side, with a dark window of 4 columns or none.
        let light = |column: usize, window: bool| match column {
            10..14 if window => 0.05,
            _ => 0.6 + 0.01 * column as f64,
        };
        let contrast = |from: usize, window: bool| {
            let mut contrast = Contrast::default();
            for slot in 0..5 {
                for column in 0..30 {
                    let region = usize::from((from..from + 4).contains(&column));
                    contrast.add(slot, region, [f64::ln(light(column, window)); 3]);
                }
            }
            contrast
        };
        let right = contrast(10, true);
        assert!(right.is_clear());
        assert!(contrast(12, true).gain() < NEAR_BEST * right.gain());
        assert!(!contrast(20, false).is_clear());
    }
}
