//! What comes out of a melt chamber, exactly, for feeds of straight pieces.
//!
//! A tank of volume τ obeys dx/dv = (in − x)/τ, with v the extruded volume. For a feed that is
//! straight over a piece, u(v) = a + s·v, tank k of a row follows a + s·(v − kτ) once all is
//! settled; what differs from that dies away as e⁻ᵃ Σ aʲ/j!, a = v/τ. So each piece is done in
//! one step, however long it is, and what comes out is integrated without sampling.

use blend::{MAX_COMPONENTS, Shares};

use crate::machine::Chamber;
use crate::machine::gamma_p;

/// Shares as plain numbers, 0 for components that there are not.
pub(crate) type Mix = [f64; MAX_COMPONENTS];

/// A change of what the drives feed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Feed {
    /// From this extruded volume on, mm³.
    pub at_mm3: f64,
    /// The blend there.
    pub from: Shares,
    /// The blend at the next change; the same as `from` for a feed that stands.
    pub to: Shares,
}

impl Feed {
    /// A blend that stands from a volume on.
    pub fn steady(at_mm3: f64, shares: Shares) -> Self {
        Self {
            at_mm3,
            from: shares,
            to: shares,
        }
    }
}

/// The mean blend that comes out between each two neighbouring edges (extruded volumes, mm³,
/// rising).
///
/// Before the first feed the chamber is full of `start`, and feeds it. The feeds' volumes rise;
/// the last feed stands at its `from`.
///
/// ```
/// use blend::Shares;
/// use plan::delivery::{Feed, delivered};
/// use plan::machine::Chamber;
///
/// let red = Shares::pure(0, 2).expect("a component");
/// let white = Shares::pure(1, 2).expect("a component");
/// let chamber = Chamber { dead_mm3: 10.0, mixed_mm3: 20.0, tanks: 1 };
/// let out = delivered(&chamber, &red, &[Feed::steady(0.0, white)], &[0.0, 10.0, 30.0, 1e4]);
/// assert_eq!(out[0], red); // The dead volume goes first.
/// assert!((out[1].as_slice()[0] - (1.0 - (-1.0f64).exp())).abs() < 1e-12);
/// ```
pub fn delivered(
    chamber: &Chamber,
    start: &Shares,
    feeds: &[Feed],
    edges_mm3: &[f64],
) -> Vec<Shares> {
    let count = feeds
        .iter()
        .map(|f| f.from.count())
        .fold(start.count(), usize::max);
    let mut flow = Flow::new(chamber, start, feeds);
    let mut out = Vec::with_capacity(edges_mm3.len().saturating_sub(1));
    if let Some(&first) = edges_mm3.first() {
        flow.run_to(first);
    }
    for pair in edges_mm3.windows(2) {
        let volume = pair[1] - pair[0];
        let sum = flow.run_to(pair[1]);
        let mean = match volume > 0.0 {
            true => sum.map(|s| (s / volume).max(0.0)),
            false => flow.now(),
        };
        // The sum is 1 but for rounding.
        out.push(Shares::from_weights(&mean[..count]).unwrap_or(*start));
    }
    out
}

/// A chamber with feeds running through it.
struct Flow<'a> {
    dead_mm3: f64,
    tank_mm3: f64,
    /// What each tank holds, in the order that plastic passes them.
    tanks: Vec<Mix>,
    /// Room for how each tank differs from its settled way.
    off: Vec<Mix>,
    feeds: &'a [Feed],
    /// The feed that now leaves the dead volume; none is the start blend.
    feed: Option<usize>,
    start: Mix,
    /// Extruded so far.
    at_mm3: f64,
}

/// A straight piece of feed: its value now and its slope.
#[derive(Clone, Copy)]
struct Line {
    value: Mix,
    slope: Mix,
}

impl<'a> Flow<'a> {
    fn new(chamber: &Chamber, start: &Shares, feeds: &'a [Feed]) -> Self {
        let start = mix(start);
        let tank_mm3 = chamber.tank_mm3();
        let count = if tank_mm3 > 0.0 {
            chamber.tanks.max(1)
        } else {
            0
        };
        Self {
            dead_mm3: chamber.dead_mm3,
            tank_mm3,
            tanks: vec![start; count],
            off: vec![start; count],
            feeds,
            feed: None,
            start,
            at_mm3: f64::NEG_INFINITY,
        }
    }

    /// Where, in extruded volume, a feed leaves the dead volume.
    fn leaves(&self, feed: usize) -> f64 {
        self.feeds
            .get(feed)
            .map_or(f64::INFINITY, |f| f.at_mm3 + self.dead_mm3)
    }

    fn next(&self) -> usize {
        self.feed.map_or(0, |f| f + 1)
    }

    /// Runs on to a place and returns the sum of what came out on the way, mm³ of each
    /// component.
    fn run_to(&mut self, end_mm3: f64) -> Mix {
        let mut sum = [0.0; MAX_COMPONENTS];
        while self.at_mm3 < end_mm3 {
            let change = self.leaves(self.next());
            if change <= self.at_mm3 {
                self.feed = Some(self.next());
                continue;
            }
            let stop = change.min(end_mm3);
            if self.at_mm3 == f64::NEG_INFINITY {
                // All is full of the start blend, so nothing happens.
                self.at_mm3 = stop;
                continue;
            }
            let line = self.line();
            let out = self.step(line, stop - self.at_mm3);
            for (s, o) in sum.iter_mut().zip(out) {
                *s += o;
            }
            self.at_mm3 = stop;
        }
        sum
    }

    /// The feed that enters the tanks now.
    fn line(&self) -> Line {
        let still = |value: Mix| Line {
            value,
            slope: [0.0; MAX_COMPONENTS],
        };
        let Some(feed) = self.feed.and_then(|i| self.feeds.get(i)) else {
            return still(self.start);
        };
        let (from, to) = (mix(&feed.from), mix(&feed.to));
        let length = self.leaves(self.next()) - (feed.at_mm3 + self.dead_mm3);
        if !length.is_finite() || feed.from == feed.to {
            return still(from);
        }
        let passed = self.at_mm3 - (feed.at_mm3 + self.dead_mm3);
        let mut line = still(from);
        for i in 0..MAX_COMPONENTS {
            line.slope[i] = (to[i] - from[i]) / length;
            line.value[i] += line.slope[i] * passed;
        }
        line
    }

    /// Runs on by a volume under one straight feed; returns what came out.
    fn step(&mut self, line: Line, volume: f64) -> Mix {
        let tank_mm3 = self.tank_mm3;
        let settled =
            |i: usize, k: usize, v: f64| line.value[i] + line.slope[i] * (v - k as f64 * tank_mm3);
        let mut out = [0.0; MAX_COMPONENTS];
        let count = self.tanks.len();
        for (i, o) in out.iter_mut().enumerate() {
            // The settled way of the last tank, integrated: exact for a straight line.
            *o = volume * settled(i, count, 0.5 * volume);
        }
        if count == 0 {
            return out;
        }
        let a = volume / self.tank_mm3;
        for (k, (off, tank)) in self.off.iter_mut().zip(&self.tanks).enumerate() {
            *off = std::array::from_fn(|i| tank[i] - settled(i, k + 1, 0.0));
        }
        let off = &self.off;
        // What dies away in the last tank, integrated: ∫e⁻ᵃaʲ/j! = τ P(j + 1, a).
        for j in 0..count {
            let weight = self.tank_mm3 * gamma_p(j + 1, a);
            for (o, d) in out.iter_mut().zip(&off[count - 1 - j]) {
                *o += weight * d;
            }
        }
        let dies_away = (-a).exp();
        for (k, tank) in self.tanks.iter_mut().enumerate() {
            for (i, t) in tank.iter_mut().enumerate() {
                let mut term = dies_away;
                let mut rest = 0.0;
                for j in 0..=k {
                    rest += term * off[k - j][i];
                    term *= a / (j + 1) as f64;
                }
                *t = settled(i, k + 1, volume) + rest;
            }
        }
        out
    }

    /// What comes out at this moment.
    fn now(&self) -> Mix {
        let now = match self.tanks.last() {
            Some(last) => *last,
            None => self.line().value,
        };
        now.map(|s| s.max(0.0))
    }
}

/// A blend as plain numbers.
pub(crate) fn mix(shares: &Shares) -> Mix {
    let mut mix = [0.0; MAX_COMPONENTS];
    for (m, s) in mix.iter_mut().zip(shares.as_slice()) {
        *m = *s;
    }
    mix
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shares(first: f64) -> Shares {
        Shares::new(&[first, 1.0 - first]).expect("shares")
    }

    fn first(out: &Shares) -> f64 {
        out.as_slice()[0]
    }

    /// Levenspiel's F curve of tanks in series (from memory), which the chamber's step
    /// response states, integrated over each piece: ∫P(n, a) da = a P(n, a) − n P(n + 1, a).
    #[test]
    fn a_step_comes_out_as_the_f_curve() {
        for tanks in [1, 2, 4, 9] {
            let chamber = Chamber {
                dead_mm3: 11.0,
                mixed_mm3: 25.0,
                tanks,
            };
            let edges: Vec<f64> = (0..400).map(|i| f64::from(i) * 0.7).collect();
            let feeds = [Feed::steady(13.0, shares(1.0))];
            let out = delivered(&chamber, &shares(0.0), &feeds, &edges);
            let tau = chamber.tank_mm3();
            let integral = |v: f64| {
                let a = ((v - 24.0) / tau).max(0.0);
                tau * (a * gamma_p(tanks, a) - tanks as f64 * gamma_p(tanks + 1, a))
            };
            for (pair, out) in edges.windows(2).zip(&out) {
                let mean = (integral(pair[1]) - integral(pair[0])) / (pair[1] - pair[0]);
                assert!((first(out) - mean).abs() < 1e-11, "{tanks}");
            }
        }
    }

    /// A ramp comes out as the same ramp, later by dead plus mixed volume once it is settled,
    /// and before that by the closed form for one tank: s (v − τ + τ e⁻ᵃ).
    #[test]
    fn a_ramp_lags_by_dead_plus_mixed_volume() {
        for tanks in [1, 3] {
            let chamber = Chamber {
                dead_mm3: 9.0,
                mixed_mm3: 21.0,
                tanks,
            };
            let (from, to) = (shares(0.0), shares(1.0));
            let feeds = [
                Feed {
                    at_mm3: 0.0,
                    from,
                    to,
                },
                Feed::steady(1000.0, to),
            ];
            let edges: Vec<f64> = (0..=1000).map(f64::from).collect();
            let out = delivered(&chamber, &from, &feeds, &edges);
            for (i, out) in out.iter().enumerate() {
                let middle = i as f64 + 0.5;
                if tanks == 1 && i >= 9 {
                    let v = middle - 9.0;
                    let halves = [v - 0.5, v + 0.5];
                    let whole = |v: f64| 0.5 * v * v - 21.0 * v - 441.0 * (-v / 21.0).exp();
                    let exact = (whole(halves[1]) - whole(halves[0])) / 1000.0;
                    assert!((first(out) - exact).abs() < 1e-12);
                }
                if i > 700 {
                    assert!((first(out) - (middle - 30.0) / 1000.0).abs() < 1e-9);
                }
            }
        }
    }

    #[test]
    fn without_a_mixed_volume_it_is_a_plain_delay() {
        let chamber = Chamber {
            dead_mm3: 5.0,
            mixed_mm3: 0.0,
            tanks: 3,
        };
        let feeds = [
            Feed::steady(10.0, shares(1.0)),
            Feed::steady(20.0, shares(0.5)),
        ];
        let out = delivered(
            &chamber,
            &shares(0.0),
            &feeds,
            &[0.0, 14.0, 16.0, 24.0, 26.0, 40.0],
        );
        let got: Vec<f64> = out.iter().map(first).collect();
        for (got, want) in got.iter().zip([0.0, 0.5, 1.0, 0.75, 0.5]) {
            assert!((got - want).abs() < 1e-12);
        }
    }

    proptest! {
        /// What comes out and what is left in the chamber is what went in and what was there.
        #[test]
        fn mass_is_kept(
            dead_mm3 in 0.0..40.0, mixed_mm3 in 0.0..60.0, tanks in 1usize..8,
            pieces in prop::collection::vec((0.01..80.0, 0.0..1.0, 0.0..1.0, any::<bool>()), 1..30),
            cuts in prop::collection::vec(0.0..1.0f64, 0..20),
        ) {
            let chamber = Chamber { dead_mm3, mixed_mm3, tanks };
            let mut feeds = Vec::new();
            let mut at = 0.0;
            let mut fed = 0.0;
            for &(length, from, to, ramp) in &pieces {
                let to = if ramp { to } else { from };
                feeds.push(Feed { at_mm3: at, from: shares(from), to: shares(to) });
                fed += length * 0.5 * (from + to);
                at += length;
            }
            // A steady end, long enough for all to come out.
            let last = shares(0.3);
            feeds.push(Feed::steady(at, last));
            let rest = chamber.lag_mm3() + 60.0 * mixed_mm3 + 10.0;
            fed += 0.3 * rest;
            let whole = at + rest;
            let mut edges: Vec<f64> = cuts.iter().map(|c| c * whole).collect();
            edges.extend([0.0, whole]);
            edges.sort_by(f64::total_cmp);
            let start = shares(0.8);
            let out = delivered(&chamber, &start, &feeds, &edges);
            let laid: f64 = edges.windows(2).zip(&out).map(|(e, o)| (e[1] - e[0]) * first(o)).sum();
            let (before, after) = (0.8 * chamber.lag_mm3(), 0.3 * chamber.lag_mm3());
            prop_assert!((laid + after - fed - before).abs() < 1e-9 * whole.max(1.0));
        }

        #[test]
        fn shares_stay_shares_and_cuts_do_not_matter(
            mixed_mm3 in 0.0..60.0, tanks in 1usize..6,
            pieces in prop::collection::vec((0.01..80.0, 0.0..1.0), 1..20),
        ) {
            let chamber = Chamber { dead_mm3: 3.0, mixed_mm3, tanks };
            let mut at = 0.0;
            let feeds: Vec<Feed> = pieces.iter().map(|&(length, share)| {
                let feed = Feed::steady(at, shares(share));
                at += length;
                feed
            }).collect();
            let fine: Vec<f64> = (0..=100).map(|i| at * f64::from(i) / 100.0).collect();
            let coarse: Vec<f64> = fine.iter().copied().step_by(10).collect();
            let start = shares(0.5);
            let few = delivered(&chamber, &start, &feeds, &coarse);
            let many = delivered(&chamber, &start, &feeds, &fine);
            for (few, many) in few.iter().zip(many.chunks(10)) {
                let mean: f64 = many.iter().map(first).sum::<f64>() / 10.0;
                prop_assert!((first(few) - mean).abs() < 1e-10);
            }
        }
    }
}
