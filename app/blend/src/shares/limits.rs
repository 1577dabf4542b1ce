//! What a machine can feed of a blend.

use super::{MAX_COMPONENTS, Shares};

/// How finely, and from how little on, the machine can feed a component.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShareLimits {
    /// The step in which shares are set; 0 for no steps. It is taken as the nearest whole
    /// fraction of 1, so 0.03 stands for 1/33.
    pub share_step: f64,
    /// The least share of a component that is in use at all.
    pub least_share: f64,
}

impl ShareLimits {
    /// No limits.
    pub const NONE: ShareLimits = ShareLimits {
        share_step: 0.0,
        least_share: 0.0,
    };

    /// The number of steps in a whole, where there are steps.
    pub fn steps(self) -> Option<usize> {
        whole_steps(self.share_step).map(|n| n as usize)
    }
}

impl Shares {
    /// The nearest blend in whole steps of a share.
    ///
    /// Each share is cut down to whole steps and the steps left over go to the largest
    /// remainders, so the sum stays 1. The step is taken as the nearest whole fraction of 1;
    /// a step that is 0 or less, or no number, changes nothing.
    pub fn snapped(&self, share_step: f64) -> Self {
        self.within(ShareLimits {
            share_step,
            least_share: 0.0,
        })
    }

    /// The nearest blend in which every component has either nothing or the least share.
    ///
    /// A share below the least becomes 0 or the least, whichever is nearer; the other
    /// components give or take the difference in proportion.
    #[cfg(test)]
    pub(crate) fn with_least(&self, least_share: f64) -> Self {
        self.within(ShareLimits {
            share_step: 0.0,
            least_share,
        })
    }

    /// The nearest blend that a machine of these limits can feed: first the least share is kept
    /// (0 or at least that), counted up to a whole step, then as [`snapped`] says.
    ///
    /// [`snapped`]: Shares::snapped
    pub fn within(&self, limits: ShareLimits) -> Self {
        let steps = whole_steps(limits.share_step);
        let least = match steps {
            Some(n) => (limits.least_share * n - 1e-9).ceil() / n,
            None => limits.least_share,
        };
        let mut shares = *self;
        if least > 0.0 {
            shares.raise_or_drop(least.min(1.0));
        }
        if let Some(n) = steps {
            shares.snap(n);
        }
        shares
    }

    fn raise_or_drop(&mut self, least: f64) {
        let shares = &mut self.share[..self.count as usize];
        let mut order: Vec<usize> = (0..shares.len()).collect();
        order.sort_by(|a, b| shares[*b].total_cmp(&shares[*a]));
        // The largest stays whatever its size, and no more stay than have room.
        let room = (1.0 / least + 1e-9).floor() as usize;
        for (rank, i) in order.into_iter().enumerate() {
            if rank > 0 && (rank >= room || shares[i] < least / 2.0) {
                shares[i] = 0.0;
            }
        }
        scale(shares, 1.0);
        // Raising one takes from the rest, which may bring another below the least.
        let mut raised = [false; MAX_COMPONENTS];
        while let Some(low) = (0..shares.len())
            .find(|i| !raised[*i] && shares[*i] > 0.0 && shares[*i] < least * (1.0 - 1e-12))
        {
            raised[low] = true;
            shares[low] = least;
            let taken = raised.iter().filter(|r| **r).count() as f64 * least;
            let free: f64 = (0..shares.len())
                .filter(|i| !raised[*i])
                .map(|i| shares[i])
                .sum();
            for (i, share) in shares.iter_mut().enumerate() {
                if !raised[i] && free > 0.0 {
                    *share *= (1.0 - taken).max(0.0) / free;
                }
            }
        }
    }

    fn snap(&mut self, steps: f64) {
        let shares = &mut self.share[..self.count as usize];
        let whole = |share: f64| (share * steps + 1e-9).floor();
        let mut order: Vec<usize> = (0..shares.len()).collect();
        let remainder = |share: f64| share * steps - whole(share);
        order.sort_by(|a, b| remainder(shares[*b]).total_cmp(&remainder(shares[*a])));
        let left = steps - shares.iter().map(|s| whole(*s)).sum::<f64>();
        for (rank, i) in order.into_iter().enumerate() {
            let extra = if (rank as f64) < left { 1.0 } else { 0.0 };
            shares[i] = (whole(shares[i]) + extra) / steps;
        }
    }
}

/// The number of steps in a whole, where there are steps.
fn whole_steps(share_step: f64) -> Option<f64> {
    (share_step > 0.0 && share_step <= 1.0).then(|| (1.0 / share_step).round().min(1e9))
}

/// Scales shares to a sum.
fn scale(shares: &mut [f64], sum: f64) {
    let now: f64 = shares.iter().sum();
    for share in shares {
        *share *= sum / now;
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{shares, weights};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn leftover_steps_go_to_the_largest_remainders() {
        let thirds = shares(&[1.0, 1.0, 1.0]).snapped(0.01);
        assert_eq!(thirds.as_slice(), [0.34, 0.33, 0.33]);
        let uneven = shares(&[0.126, 0.437, 0.437]).snapped(0.1);
        assert_eq!(uneven.as_slice(), [0.1, 0.5, 0.4]);
        assert_eq!(shares(&[0.3, 0.7]).snapped(0.1).as_slice(), [0.3, 0.7]);
        assert_eq!(shares(&[0.3, 0.7]).snapped(0.0), shares(&[0.3, 0.7]));
        assert_eq!(shares(&[0.3, 0.7]).snapped(f64::NAN), shares(&[0.3, 0.7]));
    }

    #[test]
    fn below_the_least_a_share_goes_the_nearer_way() {
        let close = |found: Shares, wanted: &[f64]| {
            for (f, w) in found.as_slice().iter().zip(wanted) {
                assert!((f - w).abs() < 1e-12, "{found} for {wanted:?}");
            }
        };
        close(shares(&[0.02, 0.98]).with_least(0.05), &[0.0, 1.0]);
        close(shares(&[0.03, 0.97]).with_least(0.05), &[0.05, 0.95]);
        close(
            shares(&[0.03, 0.48, 0.49]).with_least(0.1),
            &[0.0, 48.0 / 97.0, 49.0 / 97.0],
        );
        // Raising the second brings the third down to the least as well.
        close(
            shares(&[0.52, 0.16, 0.32]).with_least(0.3),
            &[0.4, 0.3, 0.3],
        );
        // No room for all of them.
        close(
            shares(&[0.26, 0.25, 0.25, 0.24]).with_least(0.5),
            &[0.5, 0.5, 0.0, 0.0],
        );
        close(shares(&[0.3, 0.3, 0.4]).with_least(1.0), &[0.0, 0.0, 1.0]);
    }

    proptest! {
        #[test]
        fn limits_are_kept(weights in weights(), step in 0.001..0.6, least in 0.0..0.7) {
            let limits = ShareLimits { share_step: step, least_share: least };
            let fed = shares(&weights).within(limits);
            let sum: f64 = fed.as_slice().iter().sum();
            prop_assert!((sum - 1.0).abs() < 1e-9);
            let n = (1.0 / step).round();
            for share in fed.as_slice() {
                prop_assert!((share * n - (share * n).round()).abs() < 1e-6);
                prop_assert!(*share == 0.0 || *share > least - 1e-9);
            }
            prop_assert!(Shares::new(fed.as_slice()).is_ok());
            // What the machine can feed is left as it is.
            for (once, twice) in fed.as_slice().iter().zip(fed.within(limits).as_slice()) {
                prop_assert!((once - twice).abs() < 1e-9);
            }
        }

        #[test]
        fn snapping_moves_no_share_by_a_step(weights in weights(), n in 2u32..200) {
            let asked = shares(&weights);
            let step = 1.0 / f64::from(n);
            for (a, b) in asked.as_slice().iter().zip(asked.snapped(step).as_slice()) {
                prop_assert!((a - b).abs() < step);
            }
        }
    }
}
