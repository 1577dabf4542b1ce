//! From a wanted colour to the blend that comes nearest.

use super::{Lack, lattice::Lattice};
use crate::{Lab, MixModel, ShareLimits, Shares, ciede2000};

/// A blend found for a wanted colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Match {
    /// The blend.
    pub shares: Shares,
    /// Its predicted colour.
    pub lab: Lab,
    /// How far that is from the wanted colour.
    pub delta_e00: f64,
    /// Why it isn't nearer.
    pub why: Lack,
}

/// A miss up to this is not seen, ΔE00 (common practice, no source).
const UNSEEN: f64 = 1.0;

/// The machine's blends are all tried if there are at most this many.
const FEW_ENOUGH_TO_TRY: usize = 6_000;

/// Blends tried before the search narrows down.
const COARSE: usize = 1_500;

/// Places from which it narrows down.
const STARTS: usize = 6;

/// Finds the blend of least ΔE00 that a machine of some limits can feed.
///
/// It looks everywhere first (each blend that the machine knows if they are few, a coarse
/// lattice over all shares otherwise), then narrows down from the best places. The same
/// colour, spools and limits always give the same blend.
///
/// ```
/// use blend::{KubelkaMunk, ShareLimits, Spool, SpoolColour, closest, reach::Lack};
/// let colour = |code: &str| SpoolColour::Hex(code.parse().expect("a colour"));
/// let model = KubelkaMunk::new(&[
///     Spool::new("Chalk", colour("#f4f1ea")),
///     Spool::new("Deep water", colour("#12507b")),
/// ]);
/// let limits = ShareLimits { share_step: 0.05, least_share: 0.1 };
/// let red = colour("#c81e1e").xyz().to_lab();
/// let found = closest(&model, red, limits);
/// assert!(found.delta_e00 > 10.0);
/// assert!(found.why.to_string().contains("red spool"), "{}", found.why);
/// ```
pub fn closest(model: &dyn MixModel, wanted: Lab, limits: ShareLimits) -> Match {
    let search = Search { model, wanted };
    let free = search.anywhere();
    let (shares, delta_e00) = search.fed_by(limits, free.0);
    let lab = model.mix(&shares).to_lab();
    let why = if delta_e00 <= UNSEEN {
        Lack::Nothing
    } else if free.1 <= UNSEEN || free.1 < 0.5 * delta_e00 {
        Lack::Limits {
            limits,
            without_delta_e00: free.1,
        }
    } else {
        Lack::of_spool(wanted, lab)
    };
    Match {
        shares,
        lab,
        delta_e00,
        why,
    }
}

type Found = (Shares, f64);

struct Search<'a> {
    model: &'a dyn MixModel,
    wanted: Lab,
}

impl Search<'_> {
    fn miss(&self, shares: &Shares) -> f64 {
        ciede2000(self.wanted, self.model.mix(shares).to_lab())
    }

    fn best_of(&self, blends: impl Iterator<Item = Shares>) -> Option<Found> {
        blends
            .map(|shares| (shares, self.miss(&shares)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The nearest blend of any shares.
    fn anywhere(&self) -> Found {
        let count = self.model.count();
        let steps = Lattice::steps_for(count, COARSE);
        let mut tried: Vec<Found> = Lattice::new(count, steps)
            .map(|shares| (shares, self.miss(&shares)))
            .collect();
        tried.sort_by(|a, b| a.1.total_cmp(&b.1));
        tried.truncate(STARTS);
        let refined = tried
            .into_iter()
            .map(|start| self.narrowed(start, 1.0 / steps as f64));
        refined
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((Shares::SINGLE, f64::INFINITY))
    }

    /// Moves share from one component to another as long as that helps, by smaller and
    /// smaller amounts.
    fn narrowed(&self, start: Found, first: f64) -> Found {
        let mut best = start;
        let mut amount = first;
        while amount > 1e-5 {
            match self.best_of(transfers(best.0, amount)) {
                Some(better) if better.1 < best.1 => best = better,
                _ => amount /= 2.0,
            }
        }
        best
    }

    /// The nearest blend that a machine can feed, `free` being the nearest of all.
    fn fed_by(&self, limits: ShareLimits, free: Shares) -> Found {
        let count = self.model.count();
        let steps = limits.steps();
        if steps.is_none() && limits.least_share <= 0.0 {
            return (free, self.miss(&free));
        }
        let every = steps.filter(|n| Lattice::size(count, *n) <= FEW_ENOUGH_TO_TRY);
        if let Some(n) = every {
            let all = Lattice::new(count, n).map(|shares| shares.within(limits));
            if let Some(found) = self.best_of(all) {
                return found;
            }
        }
        // Start from the best blend of each smaller set of components as well: the least
        // share may shut some out altogether.
        let coarse = Lattice::new(count, Lattice::steps_for(count, COARSE));
        let starts = std::iter::once(free)
            .chain(coarse)
            .map(|s| s.within(limits));
        let mut best = self.best_of(starts).unwrap_or((free, f64::INFINITY));
        let step = steps.map_or(1e-4, |n| 1.0 / n as f64);
        let mut amount = step.max(0.05);
        loop {
            let near = transfers(best.0, amount).map(|s| s.within(limits));
            match self.best_of(near) {
                Some(better) if better.1 < best.1 => best = better,
                _ if amount <= step => return best,
                _ => amount = (amount / 2.0).max(step),
            }
        }
    }
}

/// The blends with an amount of share moved from one component to another, or all of it where
/// there is less.
pub(super) fn transfers(from: Shares, amount: f64) -> impl Iterator<Item = Shares> {
    let count = from.count();
    let pairs = (0..count).flat_map(move |i| (0..count).map(move |j| (i, j)));
    pairs.filter(|(i, j)| i != j).filter_map(move |(i, j)| {
        let mut parts = from.as_slice().to_vec();
        let moved = amount.min(parts[i]);
        parts[i] -= moved;
        parts[j] += moved;
        (moved > 0.0).then(|| Shares::from_weights(&parts).ok())?
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{KubelkaMunk, LinearLight, Spool, SpoolColour, Srgb};
    use proptest::prelude::*;

    fn spools(codes: &[[u8; 3]]) -> Vec<Spool> {
        codes
            .iter()
            .map(|c| Spool::new("x", SpoolColour::Hex(Srgb(*c))))
            .collect()
    }

    const LIMITS: ShareLimits = ShareLimits {
        share_step: 0.01,
        least_share: 0.05,
    };

    #[test]
    fn finds_the_best_of_all_fine_blends() {
        let model = KubelkaMunk::new(&spools(&[[245, 240, 230], [200, 30, 30], [20, 60, 160]]));
        for code in [
            [120, 60, 90],
            [250, 180, 170],
            [90, 120, 200],
            [0, 255, 0],
            [30, 30, 30],
        ] {
            let wanted = SpoolColour::Hex(Srgb(code)).xyz().to_lab();
            let found = closest(&model, wanted, ShareLimits::NONE);
            let tried = Search {
                model: &model,
                wanted,
            }
            .best_of(Lattice::new(3, 100))
            .expect("a blend");
            assert!(
                found.delta_e00 <= tried.1 + 1e-9,
                "{code:?}: {found:?} {tried:?}"
            );
        }
    }

    #[test]
    fn says_what_is_lacking() {
        let model = KubelkaMunk::new(&spools(&[[230, 230, 225], [180, 160, 60]]));
        let why = |code| {
            let wanted = SpoolColour::Hex(Srgb(code)).xyz().to_lab();
            closest(&model, wanted, LIMITS).why.to_string()
        };
        assert_eq!(
            why([255, 220, 0]),
            "needs a lighter, more saturated yellow spool"
        );
        assert!(why([10, 10, 10]).contains("darker grey"));
        assert!(why([0, 60, 200]).contains("blue"));
        assert_eq!(why([230, 230, 225]), "no visible difference");
    }

    #[test]
    fn says_when_the_machine_is_in_the_way() {
        let model = KubelkaMunk::new(&spools(&[[250, 250, 250], [10, 10, 10]]));
        let blend = Shares::new(&[0.985, 0.015]).expect("shares");
        let wanted = model.mix(&blend).to_lab();
        let coarse = ShareLimits {
            share_step: 0.05,
            least_share: 0.1,
        };
        let found = closest(&model, wanted, coarse);
        assert!(
            matches!(found.why, Lack::Limits { without_delta_e00, .. } if without_delta_e00 < 0.1)
        );
        assert!(found.why.to_string().contains("share step of 5 %"));
    }

    #[test]
    fn an_impossible_question_gets_an_answer() {
        let model = LinearLight::new(&spools(&[[250; 3], [10; 3]]));
        let wanted = Lab {
            l: f64::NAN,
            a: 0.0,
            b: 0.0,
        };
        assert_eq!(closest(&model, wanted, LIMITS).shares.count(), 2);
        let none = LinearLight::new(&[]);
        let _ = closest(
            &none,
            Lab {
                l: 50.0,
                a: 0.0,
                b: 0.0,
            },
            LIMITS,
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        /// A colour made by a blend is found again, limits or none.
        #[test]
        fn a_made_colour_is_met(
            codes in prop::collection::vec(any::<[u8; 3]>(), 2..6),
            weights in prop::collection::vec(0.0..1.0, 5),
        ) {
            let model = KubelkaMunk::new(&spools(&codes));
            let blend = Shares::from_weights(&weights[..codes.len()]).expect("shares");
            let free = closest(&model, model.mix(&blend).to_lab(), ShareLimits::NONE);
            prop_assert!(free.delta_e00 < 0.2, "{free:?}");
            let fed = blend.within(LIMITS);
            let found = closest(&model, model.mix(&fed).to_lab(), LIMITS);
            prop_assert!(found.delta_e00 < 0.6, "{found:?}");
            prop_assert_eq!(found.shares, found.shares.within(LIMITS));
        }
    }
}
