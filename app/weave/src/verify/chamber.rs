//! The melt chamber by volume: what leaves the nozzle lags behind what is fed.
//!
//! Plug flow through a dead volume, then perfectly stirred tanks in series that share a mixed
//! volume: the usual compartment model of a vessel's residence time (O. Levenspiel, *Chemical
//! Reaction Engineering*, chapters on non-ideal flow and tanks in series; from memory). Time is
//! volume, so the speed of the flow drops out.

use std::collections::VecDeque;

use blend::{MAX_COMPONENTS, Shares};
use plan::machine::Chamber;

/// Plastic of one blend on its way through the dead volume.
#[derive(Clone, Copy, Debug)]
struct Plug {
    volume_mm3: f64,
    share: [f64; MAX_COMPONENTS],
}

/// A chamber with plastic in it.
#[derive(Clone, Debug)]
pub struct Melt {
    chamber: Chamber,
    components: usize,
    plugs: VecDeque<Plug>,
    tanks: Vec<[f64; MAX_COMPONENTS]>,
}

/// A tank is filled in steps no larger than this part of it.
const PART: f64 = 0.1;

/// Parts of plug flow nearer than this are one blend.
const SAME: f64 = 1e-12;

/// Parts of plug flow thinner than this share of the dead volume are taken together, so that
/// there are never many more of them, however often a file changes its blend.
const THINNEST: f64 = 1.0 / 1024.0;

impl Melt {
    /// A chamber full of one blend.
    pub fn new(chamber: Chamber, held: Shares) -> Self {
        let tanks = match chamber.mixed_mm3 > 0.0 {
            true => chamber.tanks.max(1),
            false => 0,
        };
        let share = padded(&held);
        let mut plugs = VecDeque::new();
        if chamber.dead_mm3 > 0.0 {
            plugs.push_back(Plug {
                volume_mm3: chamber.dead_mm3,
                share,
            });
        }
        Self {
            chamber,
            components: held.count(),
            plugs,
            tanks: vec![share; tanks],
        }
    }

    /// Feeds a volume of a blend and gives the mean blend of the same volume that leaves.
    pub fn push(&mut self, fed: &Shares, volume_mm3: f64) -> Shares {
        let mut left = [0.0; MAX_COMPONENTS];
        if volume_mm3 <= 0.0 {
            return self.shares(self.tanks.last().copied().unwrap_or(padded(fed)));
        }
        self.enter(padded(fed), volume_mm3);
        let mut rest = volume_mm3;
        while rest > 0.0 {
            let Some(plug) = self.plugs.front_mut() else {
                break;
            };
            let share = plug.share;
            let taken = rest.min(plug.volume_mm3);
            plug.volume_mm3 -= taken;
            if plug.volume_mm3 <= 1e-12 {
                self.plugs.pop_front();
            }
            rest -= taken;
            let out = self.stir(share, taken);
            for (sum, value) in left.iter_mut().zip(out) {
                *sum += value * taken;
            }
        }
        self.shares(left)
    }

    fn enter(&mut self, share: [f64; MAX_COMPONENTS], volume_mm3: f64) {
        match self.plugs.back_mut() {
            Some(last) if near(&last.share, &share) => last.volume_mm3 += volume_mm3,
            Some(last) if last.volume_mm3 < THINNEST * self.chamber.dead_mm3 => {
                last.volume_mm3 += volume_mm3;
                let part = volume_mm3 / last.volume_mm3;
                for (held, value) in last.share.iter_mut().zip(share) {
                    *held += (value - *held) * part;
                }
            }
            _ => self.plugs.push_back(Plug { volume_mm3, share }),
        }
    }

    /// Lets a volume through the tanks; gives the mean of what leaves the last.
    fn stir(&mut self, entering: [f64; MAX_COMPONENTS], volume_mm3: f64) -> [f64; MAX_COMPONENTS] {
        if self.tanks.is_empty() || self.tanks.iter().all(|t| near(t, &entering)) {
            return entering;
        }
        let size = self.chamber.mixed_mm3 / self.tanks.len() as f64;
        let steps = match self.tanks.len() {
            // One tank under an even feed has a closed form.
            1 => 1.0,
            _ => (volume_mm3 / (PART * size)).ceil().clamp(1.0, 1e4),
        };
        let part = volume_mm3 / steps / size;
        // c(v) = in + (c₀ − in) e^(−v/V); its mean over the step.
        let stays = (-part).exp();
        let mean = (1.0 - stays) / part;
        let mut sum = [0.0; MAX_COMPONENTS];
        for _ in 0..steps as u32 {
            let mut feed = entering;
            for tank in &mut self.tanks {
                for (held, value) in tank.iter_mut().zip(&mut feed) {
                    let gap = *held - *value;
                    *held = *value + gap * stays;
                    *value += gap * mean;
                }
            }
            for (total, value) in sum.iter_mut().zip(feed) {
                *total += value / steps;
            }
        }
        sum
    }

    fn shares(&self, weights: [f64; MAX_COMPONENTS]) -> Shares {
        let weights = weights.map(|w| w.max(0.0));
        Shares::from_weights(weights.get(..self.components).unwrap_or_default())
            .unwrap_or(Shares::SINGLE)
    }
}

fn padded(shares: &Shares) -> [f64; MAX_COMPONENTS] {
    let mut share = [0.0; MAX_COMPONENTS];
    for (to, from) in share.iter_mut().zip(shares.as_slice()) {
        *to = *from;
    }
    share
}

fn near(a: &[f64; MAX_COMPONENTS], b: &[f64; MAX_COMPONENTS]) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() < SAME)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn two(first: f64) -> Shares {
        Shares::new(&[first, 1.0 - first]).expect("shares")
    }

    /// The second component's share of what leaves, after a step from none to all, at each of
    /// so many volumes of `step` mm³.
    fn response(chamber: Chamber, step: f64, count: usize) -> Vec<f64> {
        let mut melt = Melt::new(chamber, two(1.0));
        (0..count)
            .map(|_| melt.push(&two(0.0), step).as_slice()[1])
            .collect()
    }

    #[test]
    fn changes_without_end_take_no_more_room() {
        let chamber = Chamber {
            dead_mm3: 20.0,
            mixed_mm3: 0.0,
            tanks: 1,
        };
        let mut melt = Melt::new(chamber, two(0.5));
        let mut left = 0.0;
        for i in 0..300_000 {
            // Three in four of the first component, in parts of 0.0001 mm³.
            let fed = two(f64::from(u8::from(i % 4 != 0)));
            left = melt.push(&fed, 1e-4).as_slice()[0];
            assert!(melt.plugs.len() <= 1026, "{i}: {}", melt.plugs.len());
        }
        assert!((left - 0.75).abs() < 0.01, "{left}");
        let held: f64 = melt.plugs.iter().map(|p| p.volume_mm3).sum();
        assert!((held - 20.0).abs() < 1e-6, "{held}");
    }

    #[test]
    fn a_step_through_dead_and_stirred_volume() {
        // Levenspiel: nothing for the dead volume, then 1 − e^(−v/V).
        let chamber = Chamber {
            dead_mm3: 20.0,
            mixed_mm3: 30.0,
            tanks: 1,
        };
        let seen = response(chamber, 0.5, 400);
        for (i, share) in seen.iter().enumerate() {
            let v = (i as f64 + 0.5) * 0.5 - 20.0;
            let expected = if v < 0.0 {
                0.0
            } else {
                1.0 - (-v / 30.0).exp()
            };
            assert!((share - expected).abs() < 1e-4, "{v}: {share} {expected}");
        }
    }

    #[test]
    fn a_step_through_tanks_in_series() {
        // Levenspiel: 1 − e^(−Nθ) Σ (Nθ)^k / k!, θ = v/V.
        let chamber = Chamber {
            dead_mm3: 0.0,
            mixed_mm3: 30.0,
            tanks: 3,
        };
        let seen = response(chamber, 0.25, 600);
        for (i, share) in seen.iter().enumerate() {
            let x = 3.0 * (i as f64 + 0.5) * 0.25 / 30.0;
            let expected = 1.0 - (-x).exp() * (1.0 + x + x * x / 2.0);
            assert!((share - expected).abs() < 2e-3, "{x}: {share} {expected}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        /// The plan's own chamber is in closed form and takes the whole print at once; this one
        /// steps along. They were written apart.
        #[test]
        fn it_agrees_with_the_plans_chamber(
            feeds in proptest::collection::vec((0.0..1.0_f64, 0.5..30.0_f64), 1..12),
            dead_mm3 in 0.0..40.0_f64, mixed_mm3 in 0.0..40.0_f64, tanks in 1_usize..4,
        ) {
            use plan::delivery::{Feed, delivered};
            let chamber = Chamber { dead_mm3, mixed_mm3, tanks };
            let mut melt = Melt::new(chamber, two(1.0));
            let mut edges = vec![0.0];
            let mut plans = Vec::new();
            let mut laid = Vec::new();
            for (share, volume) in &feeds {
                let at = edges[edges.len() - 1];
                plans.push(Feed::steady(at, two(*share)));
                // In bits, as a move is laid.
                for i in 0..8 {
                    laid.push(melt.push(&two(*share), volume / 8.0));
                    edges.push(at + volume * f64::from(i + 1) / 8.0);
                }
            }
            let expected = delivered(&chamber, &two(1.0), &plans, &edges);
            prop_assert_eq!(expected.len(), laid.len());
            for (a, b) in laid.iter().zip(&expected) {
                prop_assert!((a.as_slice()[1] - b.as_slice()[1]).abs() < 4e-3, "{} {}", a, b);
            }
        }

        #[test]
        fn nothing_is_lost(
            feeds in proptest::collection::vec((0.0..1.0_f64, 0.01..20.0_f64), 1..40),
            dead_mm3 in 0.0..40.0_f64, mixed_mm3 in 0.0..40.0_f64, tanks in 1_usize..4,
        ) {
            let chamber = Chamber { dead_mm3, mixed_mm3, tanks };
            let mut melt = Melt::new(chamber, two(1.0));
            let (mut entered, mut left) = (0.0, 0.0);
            for (share, volume) in &feeds {
                entered += (1.0 - share) * volume;
                left += melt.push(&two(*share), *volume).as_slice()[1] * volume;
            }
            // Flush with the first blend until all has left.
            for _ in 0..400 {
                left += melt.push(&two(1.0), 5.0).as_slice()[1] * 5.0;
            }
            prop_assert!((entered - left).abs() < 1e-6 * (1.0 + entered), "{entered} {left}");
        }
    }
}
