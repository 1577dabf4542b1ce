//! Reflectance over the visible wavelengths, and the colour it has.
//!
//! Every spectrum stands on one grid: [`BANDS`] readings every 10 nm from 380 to 730 nm.
//! XYZ is a weighted sum over them, with weights for the CIE 1931 2° observer under D65 made
//! from the 1 nm tables of CIE 15 as ASTM E2022 and E308 describe; `observer.rs` is written
//! by a script beside it that says how.

mod light;
mod light_tables;
mod observer;
mod readings;
mod reconstruct;

use crate::Xyz;

pub use light::{Light, LightError, metamerism};
pub use readings::{Readings, SpectrumError};
pub use reconstruct::{METHOD as RECONSTRUCTION_METHOD, Reconstruction, reconstruct};

/// Number of readings in a [`Spectrum`].
pub const BANDS: usize = 36;

/// Wavelength of the first reading, nm.
pub(crate) const FIRST_NM: f64 = 380.0;

/// Distance of one reading from the next, nm.
pub(crate) const STEP_NM: f64 = 10.0;

/// Reflectance factors every 10 nm from 380 to 730 nm; the perfect diffuser has 1 in each.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spectrum(pub [f64; BANDS]);

/// The wavelength of each reading, nm.
pub(crate) fn wavelengths_nm() -> impl Iterator<Item = f64> {
    (0..BANDS).map(|i| FIRST_NM + STEP_NM * i as f64)
}

impl Spectrum {
    /// The same reflectance at every wavelength: a pure grey.
    pub const fn flat(reflectance: f64) -> Self {
        Self([reflectance; BANDS])
    }

    /// The colour, CIE 1931 2° observer, D65.
    pub fn to_xyz(&self) -> Xyz {
        self.weighed(&observer::WEIGHTS)
    }

    /// The sum of its readings by the weights of a light and an observer.
    fn weighed(&self, weights: &[[f64; 3]; BANDS]) -> Xyz {
        let mut sum = [0.0; 3];
        for (reflectance, weights) in self.0.iter().zip(weights) {
            for (sum, weight) in sum.iter_mut().zip(weights) {
                *sum += reflectance * weight;
            }
        }
        Xyz::from_array(sum)
    }

    /// The same function applied to each reading.
    pub fn map(&self, f: impl FnMut(f64) -> f64) -> Self {
        Self(self.0.map(f))
    }

    /// The least reading.
    pub fn least(&self) -> f64 {
        self.0.iter().copied().fold(f64::INFINITY, f64::min)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::WHITE;

    #[test]
    fn perfect_diffuser_is_the_white() {
        let white = Spectrum::flat(1.0).to_xyz();
        for (ours, theirs) in white.to_array().iter().zip(WHITE.to_array()) {
            assert!((ours - theirs).abs() < 1e-8, "{ours} {theirs}");
        }
    }

    /// Published reflectances with their XYZ: patches of the 24-patch colour checker as
    /// measured every 5 nm by N. Ohta (1997), carried and summed by colour-science 0.4.7.
    #[allow(clippy::approx_constant, reason = "a reflectance of 0.318 is not 1/π")]
    const PATCHES: [(&str, [f64; 71], [f64; 3]); 3] = [
        (
            "dark skin",
            [
                0.048, 0.051, 0.055, 0.06, 0.065, 0.068, 0.068, 0.067, 0.064, 0.062, 0.059, 0.057,
                0.055, 0.054, 0.053, 0.053, 0.052, 0.052, 0.052, 0.053, 0.054, 0.055, 0.057, 0.059,
                0.061, 0.062, 0.065, 0.067, 0.07, 0.072, 0.074, 0.075, 0.076, 0.078, 0.079, 0.082,
                0.087, 0.092, 0.1, 0.107, 0.115, 0.122, 0.129, 0.134, 0.138, 0.142, 0.146, 0.15,
                0.154, 0.158, 0.163, 0.167, 0.173, 0.18, 0.188, 0.196, 0.204, 0.213, 0.222, 0.231,
                0.242, 0.251, 0.261, 0.271, 0.282, 0.294, 0.305, 0.318, 0.334, 0.354, 0.372,
            ],
            [0.109709, 0.097028, 0.060556],
        ),
        (
            "yellow",
            [
                0.054, 0.053, 0.054, 0.053, 0.053, 0.053, 0.053, 0.052, 0.052, 0.052, 0.053, 0.053,
                0.053, 0.054, 0.055, 0.056, 0.059, 0.065, 0.075, 0.093, 0.121, 0.157, 0.202, 0.252,
                0.303, 0.351, 0.394, 0.436, 0.475, 0.512, 0.544, 0.572, 0.597, 0.615, 0.63, 0.645,
                0.66, 0.673, 0.686, 0.698, 0.708, 0.718, 0.726, 0.732, 0.737, 0.742, 0.746, 0.749,
                0.753, 0.757, 0.761, 0.765, 0.768, 0.772, 0.777, 0.779, 0.78, 0.78, 0.781, 0.782,
                0.785, 0.785, 0.787, 0.789, 0.792, 0.792, 0.793, 0.792, 0.79, 0.792, 0.792,
            ],
            [0.560473, 0.596375, 0.095542],
        ),
        (
            "black 2 (1.5 D)",
            [
                0.032, 0.033, 0.033, 0.034, 0.035, 0.035, 0.036, 0.036, 0.036, 0.036, 0.036, 0.036,
                0.035, 0.035, 0.035, 0.035, 0.035, 0.035, 0.035, 0.035, 0.034, 0.034, 0.034, 0.034,
                0.034, 0.034, 0.034, 0.034, 0.034, 0.034, 0.034, 0.034, 0.034, 0.034, 0.034, 0.034,
                0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033,
                0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033, 0.033,
                0.033, 0.033, 0.032, 0.032, 0.032, 0.032, 0.032, 0.032, 0.032, 0.032, 0.032,
            ],
            [0.031867, 0.033549, 0.038166],
        ),
    ];

    #[test]
    fn published_reflectances_have_their_published_colour() {
        for (name, reflectance, xyz) in PATCHES {
            let pairs = reflectance.iter().enumerate();
            let pairs = pairs
                .map(|(i, r)| (FIRST_NM + 5.0 * i as f64, *r))
                .collect();
            let spectrum = Readings::new(pairs).expect("readings").to_spectrum();
            for (ours, theirs) in spectrum.to_xyz().to_array().iter().zip(xyz) {
                assert!(
                    (ours / theirs - 1.0).abs() < 1e-3,
                    "{name}: {ours} {theirs}"
                );
            }
        }
    }
}
