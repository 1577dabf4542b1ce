//! How much of each spool goes into a blend.

use serde::{Deserialize, Serialize};

/// The most components that one nozzle mixes here.
pub const MAX_COMPONENTS: usize = 8;

/// Sums this near to 1 are taken for 1 and rescaled; further off is an error.
const SUM_TOLERANCE: f64 = 1e-6;

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
    #[error("the shares add up to {0}, not to 1; change one of them so that they do")]
    Sum(f64),
}

impl Shares {
    /// Takes shares that add up to 1.
    ///
    /// # Errors
    /// [`ShareError`] says which of the invariant's conditions fails.
    pub fn new(shares: &[f64]) -> Result<Self, ShareError> {
        let sum: f64 = Self::checked(shares)?.iter().sum();
        if (sum - 1.0).abs() > SUM_TOLERANCE {
            return Err(ShareError::Sum(sum));
        }
        Ok(Self::scaled(shares, sum))
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

    /// The blend a fraction `t` of the way from this one to another, `t` held in `0..=1`.
    /// Both have the same number of components, or the longer one's is taken.
    pub fn toward(&self, other: &Self, t: f64) -> Self {
        let t = t.clamp(0.0, 1.0);
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
