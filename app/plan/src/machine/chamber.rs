//! The melt chamber: how old plastic gives way to new.
//!
//! Source of the closed forms: O. Levenspiel, *Chemical Reaction Engineering*, 3rd edition,
//! the chapters on non-ideal flow, the dispersion model and the tanks-in-series model, from
//! memory.

use serde::{Deserialize, Serialize};

/// A melt chamber: plug flow through a dead volume, then one or more stirred tanks in a row.
///
/// The defaults are the order of magnitude of a nozzle in which two bores of 2 mm meet about
/// 10 mm before the tip (our assumption, no source); a lag test measures yours.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Chamber {
    /// Volume that is pushed through unmixed, mm³. Default 20.
    pub dead_mm3: f64,
    /// Volume that is stirred, mm³, of all tanks together. Default 30.
    pub mixed_mm3: f64,
    /// Into how many tanks in a row the stirred volume is divided: more make a sharper change.
    /// Default 1.
    pub tanks: usize,
}

impl Default for Chamber {
    fn default() -> Self {
        Self {
            dead_mm3: 20.0,
            mixed_mm3: 30.0,
            tanks: 1,
        }
    }
}

impl Chamber {
    /// The most tanks that make sense; more are as good as plug flow.
    pub const MOST_TANKS: usize = 20;

    /// How far what comes out lags behind a steady change of what goes in, mm³: the mean of
    /// the residence-time distribution, dead plus mixed volume.
    pub fn lag_mm3(&self) -> f64 {
        self.dead_mm3 + self.mixed_mm3
    }

    /// The volume of one tank, mm³.
    pub fn tank_mm3(&self) -> f64 {
        self.mixed_mm3 / self.tanks.max(1) as f64
    }

    /// After a step from an old blend to a new one, the part of the new one in what comes out,
    /// a volume after the step: the distribution function F of the residence time,
    /// 1 − e⁻ᵃ Σ aⁱ/i! for i below the number of tanks, with a = (v − dead) / tank.
    ///
    /// ```
    /// use plan::machine::Chamber;
    /// let chamber = Chamber { dead_mm3: 10.0, mixed_mm3: 20.0, tanks: 1 };
    /// assert_eq!(chamber.step_response(9.0), 0.0);
    /// assert!((chamber.step_response(30.0) - (1.0 - (-1.0f64).exp())).abs() < 1e-15);
    /// ```
    pub fn step_response(&self, after_mm3: f64) -> f64 {
        let past = after_mm3 - self.dead_mm3;
        if past <= 0.0 {
            return 0.0;
        }
        match self.tank_mm3() {
            tank if tank > 0.0 => gamma_p(self.tanks.max(1), past / tank),
            _ => 1.0,
        }
    }

    /// The density E of the residence time, 1/mm³: the slope of [`Chamber::step_response`].
    /// Zero for pure plug flow, which has no density.
    pub fn density(&self, after_mm3: f64) -> f64 {
        let (past, tank) = (after_mm3 - self.dead_mm3, self.tank_mm3());
        if past < 0.0 || tank <= 0.0 {
            return 0.0;
        }
        let a = past / tank;
        let mut term = (-a).exp() / tank;
        for i in 1..self.tanks.max(1) {
            term *= a / i as f64;
        }
        term
    }

    /// The volume after a step at which what comes out is the new blend but for a part `rest`
    /// of the old one; infinite for a rest of 0 where anything is stirred.
    pub fn flushed_mm3(&self, rest: f64) -> f64 {
        if rest >= 1.0 {
            return 0.0;
        }
        let tank = self.tank_mm3();
        if tank <= 0.0 {
            return self.dead_mm3;
        }
        if rest.is_nan() || rest <= 0.0 {
            return f64::INFINITY;
        }
        // The response rises steadily, so halving finds the place.
        let (mut low, mut high) = (0.0, 1.0);
        while 1.0 - gamma_p(self.tanks.max(1), high) > rest {
            low = high;
            high *= 2.0;
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            match 1.0 - gamma_p(self.tanks.max(1), middle) > rest {
                true => low = middle,
                false => high = middle,
            }
        }
        self.dead_mm3 + tank * high
    }
}

/// The regularised lower incomplete gamma function P(n, a) of a whole number n ≥ 1:
/// 1 − e⁻ᵃ Σ aⁱ/i! for i < n, and for small a the rest of the same sum, which cancels nothing.
pub(crate) fn gamma_p(n: usize, a: f64) -> f64 {
    if a <= 0.0 {
        return 0.0;
    }
    if a < n as f64 {
        let mut term = (-a).exp();
        for i in 1..=n {
            term *= a / i as f64;
        }
        let mut sum = 0.0;
        let mut i = n;
        while term > sum * 1e-17 {
            sum += term;
            i += 1;
            term *= a / i as f64;
        }
        return sum;
    }
    let mut term = (-a).exp();
    let mut sum = term;
    for i in 1..n {
        term *= a / i as f64;
        sum += term;
    }
    1.0 - sum
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chamber(dead_mm3: f64, mixed_mm3: f64, tanks: usize) -> Chamber {
        Chamber {
            dead_mm3,
            mixed_mm3,
            tanks,
        }
    }

    #[test]
    fn the_density_integrates_to_the_step_response_and_its_mean_is_the_lag() {
        for tanks in [1, 2, 5] {
            let chamber = chamber(7.0, 24.0, tanks);
            let step = 0.01;
            let (mut area, mut moment) = (0.0, 0.0);
            for i in 0..60_000 {
                let v = (f64::from(i) + 0.5) * step;
                area += chamber.density(v) * step;
                moment += v * chamber.density(v) * step;
                if i % 997 == 0 {
                    let found = chamber.step_response(v + 0.5 * step);
                    assert!((area - found).abs() < 1e-5, "{area} {found}");
                }
            }
            assert!((moment - chamber.lag_mm3()).abs() < 1e-4);
        }
    }

    #[test]
    fn flushing_is_the_inverse_of_the_step_response() {
        for tanks in [1, 3] {
            let chamber = chamber(5.0, 12.0, tanks);
            for rest in [0.9, 0.5, 0.1, 0.01, 1e-6] {
                let v = chamber.flushed_mm3(rest);
                assert!((1.0 - chamber.step_response(v) - rest).abs() < 1e-9);
            }
        }
        assert_eq!(chamber(5.0, 0.0, 1).flushed_mm3(0.01), 5.0);
        assert_eq!(chamber(5.0, 1.0, 1).flushed_mm3(1.0), 0.0);
        assert_eq!(chamber(5.0, 1.0, 1).flushed_mm3(0.0), f64::INFINITY);
    }

    #[test]
    fn small_arguments_lose_no_digits() {
        // P(3, a) = a³/6 (1 − 3a/4 + …) for small a.
        let a = 1e-5;
        let series = a * a * a / 6.0 * (1.0 - 0.75 * a);
        assert!((gamma_p(3, a) / series - 1.0).abs() < 1e-9);
        assert!((gamma_p(1, 2.0) - (1.0 - (-2.0f64).exp())).abs() < 1e-15);
    }
}
