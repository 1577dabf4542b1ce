//! The smoothest reflectance that has a given colour.
//!
//! S. A. Burns, "Numerical methods for smoothest reflectance reconstruction", Color Research
//! and Application 45 (2020) 8–21: the method called least hyperbolic tangent slope squared.
//! Reflectance is written ρ = (tanh z + 1)/2, which keeps it between 0 and 1; of all z whose
//! colour is right, the one with the least sum of squared steps between neighbouring bands is
//! found by Newton's method on the Lagrangian.

use nalgebra::{SMatrix, SVector};

use super::{BANDS, Spectrum, observer::WEIGHTS};
use crate::{Lab, WHITE, Xyz, ciede2000};

/// How the method is named on a sheet.
pub const METHOD: &str = "smoothest reflectance of that colour (Burns 2020)";

/// Unknowns: a z for each band and a multiplier for each of X, Y, Z.
const SIZE: usize = BANDS + 3;

/// Newton steps before a start is given up.
const MOST_STEPS: usize = 80;

/// The largest change of any z in one step; longer steps are shortened to it.
const LONGEST_STEP: f64 = 1.5;

/// XYZ this near counts as met.
const CLOSE: f64 = 1e-9;

/// Colours are drawn this far towards middle grey, so that black and white, whose z would be
/// endless, have one as well. It moves L* by less than 0.001.
const INWARDS: f64 = 1e-6;

/// A reflectance made for a colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reconstruction {
    /// Every reading is above 0 and below 1.
    pub spectrum: Spectrum,
    /// How far its colour is from the one asked for, ΔE00. More than a trace of it means that
    /// no reflecting surface has that colour; the nearest towards grey was taken.
    pub miss_delta_e00: f64,
}

/// Makes the smoothest reflectance of a colour (CIE 1931 2° observer, D65).
///
/// ```
/// use blend::{Xyz, spectrum::reconstruct};
/// let teal = Xyz::from_srgb("#1f6f8b".parse().expect("a colour"));
/// let made = reconstruct(teal);
/// assert!(made.miss_delta_e00 < 0.01);
/// assert!((made.spectrum.to_xyz().y - teal.y).abs() < 1e-5);
/// ```
pub fn reconstruct(colour: Xyz) -> Reconstruction {
    let asked = colour.to_lab();
    let spectrum = solve(inwards(colour)).unwrap_or_else(|| towards_grey(asked));
    Reconstruction {
        spectrum,
        miss_delta_e00: ciede2000(asked, spectrum.to_xyz().to_lab()),
    }
}

fn inwards(colour: Xyz) -> [f64; 3] {
    let [x, y, z] = colour.to_array();
    let [wx, wy, wz] = WHITE.to_array();
    [(x, wx), (y, wy), (z, wz)].map(|(v, w)| v * (1.0 - 2.0 * INWARDS) + w * INWARDS)
}

/// The most colourful reflectance of the same lightness and hue, found by halving.
fn towards_grey(asked: Lab) -> Spectrum {
    let l = if asked.l.is_finite() { asked.l } else { 50.0 }.clamp(0.0, 100.0);
    let at = |chroma: f64| {
        let (a, b) = if chroma == 0.0 {
            (0.0, 0.0)
        } else {
            (asked.a * chroma, asked.b * chroma)
        };
        solve(inwards(Lab { l, a, b }.to_xyz()))
    };
    let grey = Lab { l, a: 0.0, b: 0.0 }.to_xyz().y;
    let mut best = Spectrum::flat(grey.clamp(INWARDS, 1.0 - INWARDS));
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..24 {
        let middle = (low + high) / 2.0;
        match at(middle) {
            Some(spectrum) => {
                best = spectrum;
                low = middle;
            }
            None => high = middle,
        }
    }
    best
}

/// Newton's method from the grey of the same luminance.
fn solve(xyz: [f64; 3]) -> Option<Spectrum> {
    if !xyz.iter().all(|v| *v > 0.0 && v.is_finite()) || xyz[1] >= 1.0 {
        return None;
    }
    let mut unknown = SVector::<f64, SIZE>::zeros();
    let grey = (2.0 * xyz[1] - 1.0).atanh();
    unknown.rows_mut(0, BANDS).fill(grey);
    for _ in 0..MOST_STEPS {
        let (matrix, wrong, miss) = newton_system(&unknown, xyz);
        let step = matrix.lu().solve(&wrong)?;
        let longest = step.rows(0, BANDS).amax();
        if !longest.is_finite() {
            return None;
        }
        if miss < CLOSE && longest < 1e-5 {
            return Some(reflectance(&unknown)).filter(|s| s.least() > 0.0);
        }
        unknown -= step * (LONGEST_STEP / longest).min(1.0);
    }
    None
}

fn reflectance(unknown: &SVector<f64, SIZE>) -> Spectrum {
    let mut spectrum = Spectrum::flat(0.0);
    for (band, z) in spectrum.0.iter_mut().zip(unknown.iter()) {
        *band = (z.tanh() + 1.0) / 2.0;
    }
    spectrum
}

/// The Lagrangian's second and first derivatives, and how far XYZ is off.
fn newton_system(
    unknown: &SVector<f64, SIZE>,
    xyz: [f64; 3],
) -> (SMatrix<f64, SIZE, SIZE>, SVector<f64, SIZE>, f64) {
    let mut matrix = SMatrix::<f64, SIZE, SIZE>::zeros();
    let mut wrong = SVector::<f64, SIZE>::zeros();
    let mut sum = [0.0; 3];
    for i in 0..BANDS {
        for j in [i.checked_sub(1), Some(i + 1).filter(|j| *j < BANDS)]
            .into_iter()
            .flatten()
        {
            matrix[(i, i)] += 2.0;
            matrix[(i, j)] -= 2.0;
            wrong[i] += 2.0 * (unknown[i] - unknown[j]);
        }
        let tanh = unknown[i].tanh();
        let slope = (1.0 - tanh * tanh) / 2.0;
        for k in 0..3 {
            let weight = WEIGHTS[i][k];
            let multiplier = unknown[BANDS + k];
            sum[k] += weight * (tanh + 1.0) / 2.0;
            wrong[i] += multiplier * weight * slope;
            matrix[(i, i)] -= 2.0 * multiplier * weight * slope * tanh;
            matrix[(i, BANDS + k)] = weight * slope;
            matrix[(BANDS + k, i)] = weight * slope;
        }
    }
    let mut miss: f64 = 0.0;
    for k in 0..3 {
        wrong[BANDS + k] = sum[k] - xyz[k];
        miss = miss.max((sum[k] - xyz[k]).abs());
    }
    (matrix, wrong, miss)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Srgb;
    use proptest::prelude::*;

    fn check(code: [u8; 3]) {
        let colour = Xyz::from_srgb(Srgb(code));
        let made = reconstruct(colour);
        assert!(
            made.miss_delta_e00 < 0.01,
            "{code:?}: {}",
            made.miss_delta_e00
        );
        assert!(
            made.spectrum.0.iter().all(|r| *r > 0.0 && *r < 1.0),
            "{code:?}"
        );
    }

    /// The whole surface and inside of the cube, in steps of 51.
    #[test]
    fn round_trip_over_the_srgb_cube() {
        for r in (0..=255).step_by(51) {
            for g in (0..=255).step_by(51) {
                for b in (0..=255).step_by(51) {
                    check([r as u8, g as u8, b as u8]);
                }
            }
        }
    }

    #[test]
    fn a_grey_is_flat() {
        let grey = Xyz {
            x: WHITE.x * 0.3,
            y: 0.3,
            z: WHITE.z * 0.3,
        };
        for band in reconstruct(grey).spectrum.0 {
            assert!((band - 0.3).abs() < 1e-5, "{band}");
        }
    }

    #[test]
    fn colours_that_no_surface_has_are_drawn_towards_grey() {
        for lab in [
            Lab {
                l: 95.0,
                a: 90.0,
                b: 0.0,
            },
            Lab {
                l: 30.0,
                a: -120.0,
                b: 60.0,
            },
            Lab {
                l: 100.0,
                a: 20.0,
                b: 20.0,
            },
            Lab {
                l: f64::NAN,
                a: 0.0,
                b: 0.0,
            },
            Lab {
                l: 50.0,
                a: f64::INFINITY,
                b: 0.0,
            },
        ] {
            let made = reconstruct(lab.to_xyz());
            let miss = made.miss_delta_e00;
            assert!(miss.is_nan() || miss > 0.01, "{lab:?}");
            assert!(made.spectrum.0.iter().all(|r| *r > 0.0 && *r < 1.0));
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn round_trip(code in any::<[u8; 3]>()) {
            check(code);
        }
    }
}
