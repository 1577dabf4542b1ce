//! How much of each spool goes into a blend.

mod limits;

use serde::{Deserialize, Serialize};

pub use limits::ShareLimits;

/// The most components that one nozzle mixes here.
pub const MAX_COMPONENTS: usize = 8;

/// Sums this near to 1 are taken for 1 and rescaled; further off is an error.
const SUM_TOLERANCE: f64 = 1e-6;

/// Sums this near to 1 are off by rounding alone.
const ROUNDING: f64 = 1e-14;

/// The share of each component in a blend, by volume.
///
/// Invariant: one to [`MAX_COMPONENTS`] shares, each finite and ≥ 0, and their sum is 1.
///
/// ```
/// use blend::Shares;
/// let blend = Shares::new(&[0.25, 0.75]).expect("a sum of 1");
/// assert_eq!(blend.as_slice(), [0.25, 0.75]);
/// assert!(Shares::new(&[0.25, 0.25]).is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<f64>", into = "Vec<f64>")]
pub struct Shares {
    count: u8,
    share: [f64; MAX_COMPONENTS],
}

/// Why numbers are no shares.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ShareError {
    /// None, or too many.
    #[error("a blend needs 1 to {MAX_COMPONENTS} shares, and this has {0}")]
    Count(usize),
    /// Negative, infinite or not a number.
    #[error("share {position} is {value}; every share must be a number from 0 to 1")]
    Value {
        /// Which share, from 1.
        position: usize,
        /// Its value.
        value: f64,
    },
    /// The sum is off.
    #[error("the shares add up to {}, not 1; change one of them", in_short(*.0))]
    Sum(f64),
}

/// A sum without the dirt of rounding behind its last digit.
fn in_short(sum: f64) -> f64 {
    match sum.is_finite() && sum.abs() < 1e9 {
        true => (sum * 1e7).round() / 1e7,
        false => sum,
    }
}

impl Shares {
    /// Takes shares that add up to 1.
    ///
    /// # Errors
    /// [`ShareError`] says which of the invariant's conditions fails.
    pub fn new(shares: &[f64]) -> Result<Self, ShareError> {
        let sum: f64 = Self::checked(shares)?.iter().sum();
        let off = (sum - 1.0).abs();
        if off > SUM_TOLERANCE {
            return Err(ShareError::Sum(sum));
        }
        // What was written from shares is read back bit for bit.
        Ok(Self::scaled(shares, if off < ROUNDING { 1.0 } else { sum }))
    }

    /// Takes weights ≥ 0 of any positive sum and scales them to shares.
    ///
    /// # Errors
    /// [`ShareError`], [`ShareError::Sum`] when all weights are 0.
    pub fn from_weights(weights: &[f64]) -> Result<Self, ShareError> {
        let sum: f64 = Self::checked(weights)?.iter().sum();
        if !sum.is_normal() {
            return Err(ShareError::Sum(sum));
        }
        Ok(Self::scaled(weights, sum))
    }

    /// The only blend of one component.
    pub const SINGLE: Shares = Shares {
        count: 1,
        share: [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    };

    /// One component alone; `None` when there is no such component.
    pub fn pure(component: usize, count: usize) -> Option<Self> {
        if component >= count || count > MAX_COMPONENTS {
            return None;
        }
        let mut share = [0.0; MAX_COMPONENTS];
        share[component] = 1.0;
        Some(Self {
            count: count as u8,
            share,
        })
    }

    /// The shares, one for each component.
    pub fn as_slice(&self) -> &[f64] {
        &self.share[..self.count as usize]
    }

    /// Number of components.
    pub fn count(&self) -> usize {
        self.count as usize
    }

    /// How far another blend is: the differences of their shares added up (the L1 distance), 0
    /// for the same blend and 2 for blends that have no component in common.
    ///
    /// ```
    /// use blend::Shares;
    /// let (even, most) = (Shares::new(&[0.5, 0.5])?, Shares::new(&[0.75, 0.25])?);
    /// assert_eq!(even.distance(&most), 0.5);
    /// # Ok::<(), blend::ShareError>(())
    /// ```
    pub fn distance(&self, other: &Self) -> f64 {
        let pairs = self.as_slice().iter().zip(other.as_slice());
        pairs.map(|(a, b)| (a - b).abs()).sum()
    }

    /// The blend a fraction `t` of the way from this one to another, `t` held in `0..=1`.
    /// Both have the same number of components, or the longer one's is taken.
    pub fn toward(&self, other: &Self, t: f64) -> Self {
        let t = if t.is_nan() { 0.0 } else { t.clamp(0.0, 1.0) };
        let mut share = [0.0; MAX_COMPONENTS];
        for (i, s) in share.iter_mut().enumerate() {
            *s = self.share[i] * (1.0 - t) + other.share[i] * t;
        }
        Self {
            count: self.count.max(other.count),
            share,
        }
    }

    fn checked(values: &[f64]) -> Result<&[f64], ShareError> {
        if values.is_empty() || values.len() > MAX_COMPONENTS {
            return Err(ShareError::Count(values.len()));
        }
        match values.iter().position(|v| !v.is_finite() || *v < 0.0) {
            Some(i) => Err(ShareError::Value {
                position: i + 1,
                value: values[i],
            }),
            None => Ok(values),
        }
    }

    fn scaled(values: &[f64], sum: f64) -> Self {
        let mut share = [0.0; MAX_COMPONENTS];
        for (s, v) in share.iter_mut().zip(values) {
            *s = v / sum;
        }
        Self {
            count: values.len() as u8,
            share,
        }
    }
}

impl TryFrom<Vec<f64>> for Shares {
    type Error = ShareError;

    fn try_from(shares: Vec<f64>) -> Result<Self, ShareError> {
        Self::new(&shares)
    }
}

impl From<Shares> for Vec<f64> {
    fn from(shares: Shares) -> Self {
        shares.as_slice().to_vec()
    }
}

impl std::fmt::Display for Shares {
    /// As percentages, the way a person says a blend: `60 / 40`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (i, share) in self.as_slice().iter().enumerate() {
            let percent = (share * 1000.0).round() / 10.0;
            let gap = if i == 0 { "" } else { " / " };
            write!(f, "{gap}{percent}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    pub(super) fn shares(weights: &[f64]) -> Shares {
        Shares::from_weights(weights).expect("shares")
    }

    #[test]
    fn sums_and_values_are_checked() {
        assert_eq!(Shares::new(&[]), Err(ShareError::Count(0)));
        assert_eq!(Shares::new(&[0.125; 9]), Err(ShareError::Count(9)));
        assert_eq!(Shares::new(&[0.5, 0.25]), Err(ShareError::Sum(0.75)));
        assert_eq!(
            Shares::new(&[1.5, -0.5]),
            Err(ShareError::Value {
                position: 2,
                value: -0.5
            })
        );
        assert!(Shares::from_weights(&[0.0, 0.0]).is_err());
        let off = Shares::new(&[0.7, 0.1]).expect_err("not 1");
        assert!(off.to_string().contains("add up to 0.8,"), "{off}");
        assert!(Shares::from_weights(&[f64::NAN]).is_err());
        assert_eq!(shares(&[3.0, 1.0]).to_string(), "75 / 25");
    }

    pub(super) fn weights() -> impl Strategy<Value = Vec<f64>> {
        prop::collection::vec(prop_oneof![Just(0.0), 0.0..1.0], 1..=MAX_COMPONENTS)
            .prop_filter("a sum above 0", |w| w.iter().sum::<f64>() > 1e-3)
    }

    proptest! {
        #[test]
        fn on_the_way_the_sum_is_one(from in weights(), to in weights(), t in -0.5..1.5) {
            let both = from.len().max(to.len());
            let filled = |mut w: Vec<f64>| { w.resize(both, 0.0); shares(&w) };
            let sum: f64 = filled(from).toward(&filled(to), t).as_slice().iter().sum();
            prop_assert!((sum - 1.0).abs() < 1e-12);
        }

        #[test]
        fn files_keep_them(weights in weights()) {
            let blend = shares(&weights);
            let text = ron::to_string(&blend).expect("text");
            let back: Shares = ron::from_str(&text).expect("shares");
            prop_assert_eq!(blend, back);
        }
    }
}
