//! Reflection at the surface of the plastic.
//!
//! J. L. Saunderson, "Calculation of the color of pigmented plastics", Journal of the Optical
//! Society of America 32 (1942) 727–736.

use serde::{Deserialize, Serialize};

/// Saunderson's constants: what the surface throws back before light enters, and what it
/// keeps from leaving.
///
/// ```
/// use blend::mix::Saunderson;
/// let surface = Saunderson::new(0.04, 0.6).expect("constants");
/// let inside = surface.inside(0.3);
/// assert!((surface.outside(inside) - 0.3).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct Saunderson {
    /// Share of the incoming light thrown back at the surface and seen by the instrument: 0
    /// where it looks past the gloss, about 0.04 where it takes the gloss in.
    k1: f64,
    /// Share of the light from inside that the surface throws back.
    k2: f64,
}

/// Surface constants that no surface has.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "surface constants k1 = {k1}, k2 = {k2}; each must be from 0 to below 1, and k1 is rarely \
     above 0.06, k2 rarely above 0.7"
)]
pub struct SurfaceError {
    /// As given.
    pub k1: f64,
    /// As given.
    pub k2: f64,
}

/// Surface constants as a file has them, before they are checked.
#[derive(Deserialize)]
#[serde(rename = "Saunderson", deny_unknown_fields)]
struct Written {
    k1: f64,
    k2: f64,
}

impl TryFrom<Written> for Saunderson {
    type Error = SurfaceError;

    fn try_from(written: Written) -> Result<Self, SurfaceError> {
        Self::new(written.k1, written.k2)
    }
}

impl Saunderson {
    /// What is assumed until a fit tells better: an instrument that looks past the gloss, and
    /// the internal reflection of a plastic of refractive index 1.5, 0.6 (Saunderson gives
    /// 0.596 for perfectly diffuse light inside).
    pub const USUAL: Saunderson = Saunderson { k1: 0.0, k2: 0.6 };

    /// No surface at all.
    pub const NONE: Saunderson = Saunderson { k1: 0.0, k2: 0.0 };

    /// Takes both constants, each in `0..1`.
    ///
    /// # Errors
    /// [`SurfaceError`] for any other.
    pub fn new(k1: f64, k2: f64) -> Result<Self, SurfaceError> {
        if (0.0..1.0).contains(&k1) && (0.0..1.0).contains(&k2) {
            Ok(Self { k1, k2 })
        } else {
            Err(SurfaceError { k1, k2 })
        }
    }

    /// Both constants brought into the range that a surface can have.
    pub(crate) fn nearest(k1: f64, k2: f64) -> Self {
        Self {
            k1: k1.clamp(0.0, 0.99),
            k2: k2.clamp(0.0, 0.99),
        }
    }

    /// Share of the incoming light thrown back and seen.
    pub fn k1(self) -> f64 {
        self.k1
    }

    /// Share of the light from inside thrown back.
    pub fn k2(self) -> f64 {
        self.k2
    }

    /// Measured reflectance from reflectance inside the plastic:
    /// k1 + (1 − k1)(1 − k2)R / (1 − k2 R).
    #[inline]
    pub fn outside(self, inside: f64) -> f64 {
        self.k1 + (1.0 - self.k1) * (1.0 - self.k2) * inside / (1.0 - self.k2 * inside)
    }

    /// Reflectance inside the plastic from measured reflectance:
    /// (Rm − k1) / (1 − k1 − k2 + k2 Rm). Below 0 for a reading darker than the gloss.
    #[inline]
    pub fn inside(self, measured: f64) -> f64 {
        (measured - self.k1) / (1.0 - self.k1 - self.k2 + self.k2 * measured)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn impossible_constants_are_refused() {
        for (k1, k2) in [(-0.1, 0.5), (1.0, 0.5), (0.04, 1.0), (f64::NAN, 0.5)] {
            assert!(Saunderson::new(k1, k2).is_err());
        }
        assert!(ron::from_str::<Saunderson>("(k1: 0.04, k2: 1.5)").is_err());
        assert!(ron::from_str::<Saunderson>("(k1: 0.04, k2: 0.5, k3: 0)").is_err());
    }

    /// Worked by hand: k1 = 0.04, k2 = 0.6, R = 0.5 gives 0.04 + 0.96 · 0.4 · 0.5 / 0.7.
    #[test]
    fn worked_example() {
        let surface = Saunderson::new(0.04, 0.6).expect("constants");
        assert!((surface.outside(0.5) - 0.314_285_714_285_714_3).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn there_and_back(k1 in 0.0..0.1, k2 in 0.0..0.9, inside in 0.0..1.0) {
            let surface = Saunderson::new(k1, k2).expect("constants");
            let measured = surface.outside(inside);
            prop_assert!((k1 - 1e-12..=1.0 + 1e-12).contains(&measured));
            prop_assert!((surface.inside(measured) - inside).abs() < 1e-9);
        }
    }
}
