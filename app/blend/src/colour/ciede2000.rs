//! The CIEDE2000 colour difference.
//!
//! G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation
//! notes, supplementary test data, and mathematical observations", Color Research and
//! Application 30 (2005) 21–30. Numbers in brackets are that paper's equations.

use super::Lab;

/// 25⁷.
const P7: f64 = 6_103_515_625.0;

/// The CIEDE2000 difference ΔE00 of two colours, with kL = kC = kH = 1
/// (Sharma, Wu, Dalal 2005).
///
/// ```
/// use blend::{Lab, ciede2000};
/// let grey = Lab { l: 50.0, a: 0.0, b: 0.0 };
/// let bluish = Lab { l: 50.0, a: -1.0, b: 2.0 };
/// assert!((ciede2000(grey, bluish) - 2.3669).abs() < 1e-4);
/// ```
pub fn ciede2000(one: Lab, other: Lab) -> f64 {
    ciede2000_by(one, other, Weighting::default())
}

/// The parametric factors of CIEDE2000: how much a difference in lightness, chroma and hue is
/// forgiven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighting {
    /// kL, of lightness.
    pub lightness: f64,
    /// kC, of chroma.
    pub chroma: f64,
    /// kH, of hue.
    pub hue: f64,
}

impl Default for Weighting {
    /// The reference conditions of CIE 142: all are 1.
    fn default() -> Self {
        Self {
            lightness: 1.0,
            chroma: 1.0,
            hue: 1.0,
        }
    }
}

impl Weighting {
    /// Lightness before all: chroma and hue are forgiven five times as much. The factor is our
    /// choice, no source.
    pub const LIGHTNESS: Self = Self {
        lightness: 1.0,
        chroma: 5.0,
        hue: 5.0,
    };
}

/// The CIEDE2000 difference of two colours with parametric factors (Sharma, Wu, Dalal 2005,
/// equation 22).
///
/// ```
/// use blend::{Lab, Weighting, ciede2000_by};
/// let grey = Lab { l: 50.0, a: 0.0, b: 0.0 };
/// let bluish = Lab { l: 50.0, a: -1.0, b: 2.0 };
/// assert!((ciede2000_by(grey, bluish, Weighting::LIGHTNESS) - 2.3669 / 5.0).abs() < 1e-4);
/// ```
pub fn ciede2000_by(one: Lab, other: Lab, weighting: Weighting) -> f64 {
    // (2)–(7): a* stretched near the grey axis, then chroma and hue.
    let mean_chroma = (one.chroma() + other.chroma()) / 2.0;
    let stretch = stretch(mean_chroma);
    let (c1, h1) = chroma_and_hue(one, stretch);
    let (c2, h2) = chroma_and_hue(other, stretch);
    let grey = c1 * c2 == 0.0;

    // (8)–(11): the differences.
    let delta_l = other.l - one.l;
    let delta_c = c2 - c1;
    let delta_hue = if grey { 0.0 } else { wrapped(h2 - h1) };
    let delta_h = 2.0 * (c1 * c2).sqrt() * (delta_hue.to_radians() / 2.0).sin();

    // (12)–(14): the means.
    let l = (one.l + other.l) / 2.0;
    let c = (c1 + c2) / 2.0;
    let h = if grey { h1 + h2 } else { mean_hue(h1, h2) };

    // (15)–(21): the weights.
    let Weights {
        s_l,
        s_c,
        s_h,
        rotation,
    } = Weights::at(l, c, h);

    // (22). Rounding may bring the sum of a vanishing difference below 0.
    let (dl, dc, dh) = (
        delta_l / (s_l * weighting.lightness),
        delta_c / (s_c * weighting.chroma),
        delta_h / (s_h * weighting.hue),
    );
    let squared = dl * dl + dc * dc + dh * dh + rotation * dc * dh;
    if squared < 0.0 { 0.0 } else { squared.sqrt() }
}

/// The formula's weights for a mean lightness, chroma and hue.
pub(super) struct Weights {
    pub s_l: f64,
    pub s_c: f64,
    pub s_h: f64,
    pub rotation: f64,
}

impl Weights {
    pub(super) fn at(l: f64, c: f64, h: f64) -> Self {
        let t = 1.0 - 0.17 * cos_deg(h - 30.0)
            + 0.24 * cos_deg(2.0 * h)
            + 0.32 * cos_deg(3.0 * h + 6.0)
            - 0.20 * cos_deg(4.0 * h - 63.0);
        let delta_theta = 30.0 * (-((h - 275.0) / 25.0).powi(2)).exp();
        Self {
            s_l: 1.0 + 0.015 * (l - 50.0).powi(2) / (20.0 + (l - 50.0).powi(2)).sqrt(),
            s_c: 1.0 + 0.045 * c,
            s_h: 1.0 + 0.015 * c * t,
            rotation: -2.0 * seventh_root_weight(c) * (2.0 * delta_theta).to_radians().sin(),
        }
    }
}

/// How much a* is stretched for a mean chroma: 1 + G.
pub(super) fn stretch(mean_chroma: f64) -> f64 {
    1.5 - 0.5 * seventh_root_weight(mean_chroma)
}

/// √(C⁷ / (C⁷ + 25⁷)).
fn seventh_root_weight(chroma: f64) -> f64 {
    let c7 = chroma.powi(7);
    (c7 / (c7 + P7)).sqrt()
}

pub(super) fn chroma_and_hue(colour: Lab, stretch: f64) -> (f64, f64) {
    let stretched = Lab {
        a: colour.a * stretch,
        ..colour
    };
    (stretched.chroma(), stretched.hue_deg())
}

/// A hue difference brought into −180° to 180°.
fn wrapped(difference: f64) -> f64 {
    if difference > 180.0 {
        difference - 360.0
    } else if difference < -180.0 {
        difference + 360.0
    } else {
        difference
    }
}

fn mean_hue(h1: f64, h2: f64) -> f64 {
    let sum = h1 + h2;
    if (h1 - h2).abs() <= 180.0 {
        sum / 2.0
    } else if sum < 360.0 {
        (sum + 360.0) / 2.0
    } else {
        (sum - 360.0) / 2.0
    }
}

fn cos_deg(degrees: f64) -> f64 {
    degrees.to_radians().cos()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Table 1 of the paper: L*, a*, b* of both colours, and ΔE00 to four places.
    const PAIRS: [[f64; 7]; 34] = [
        [50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425],
        [50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615],
        [50.0, 2.8361, -74.0200, 50.0, 0.0, -82.7485, 3.4412],
        [50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0000],
        [50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0000],
        [50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0000],
        [50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669],
        [50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669],
        [50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0009, 7.1792],
        [50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0010, 7.1792],
        [50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0011, 7.2195],
        [50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0012, 7.2195],
        [50.0, -0.0010, 2.4900, 50.0, 0.0009, -2.4900, 4.8045],
        [50.0, -0.0010, 2.4900, 50.0, 0.0010, -2.4900, 4.8045],
        [50.0, -0.0010, 2.4900, 50.0, 0.0011, -2.4900, 4.7461],
        [50.0, 2.5, 0.0, 50.0, 0.0, -2.5, 4.3065],
        [50.0, 2.5, 0.0, 73.0, 25.0, -18.0, 27.1492],
        [50.0, 2.5, 0.0, 61.0, -5.0, 29.0, 22.8977],
        [50.0, 2.5, 0.0, 56.0, -27.0, -3.0, 31.9030],
        [50.0, 2.5, 0.0, 58.0, 24.0, 15.0, 19.4535],
        [50.0, 2.5, 0.0, 50.0, 3.1736, 0.5854, 1.0000],
        [50.0, 2.5, 0.0, 50.0, 3.2972, 0.0, 1.0000],
        [50.0, 2.5, 0.0, 50.0, 1.8634, 0.5757, 1.0000],
        [50.0, 2.5, 0.0, 50.0, 3.2592, 0.3350, 1.0000],
        [
            60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644,
        ],
        [
            63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630,
        ],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [
            22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373,
        ],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ];

    #[test]
    fn the_papers_34_pairs() {
        for (i, [l1, a1, b1, l2, a2, b2, expected]) in PAIRS.into_iter().enumerate() {
            let one = Lab {
                l: l1,
                a: a1,
                b: b1,
            };
            let other = Lab {
                l: l2,
                a: a2,
                b: b2,
            };
            let found = ciede2000(one, other);
            assert!(
                (found - expected).abs() < 1e-4,
                "pair {}: {found} for {expected}",
                i + 1
            );
        }
    }

    #[test]
    fn what_is_no_colour_has_no_difference() {
        let grey = Lab {
            l: 50.0,
            a: 0.0,
            b: 0.0,
        };
        assert!(
            ciede2000(
                grey,
                Lab {
                    l: f64::NAN,
                    ..grey
                }
            )
            .is_nan()
        );
    }

    fn colour() -> impl Strategy<Value = Lab> {
        (0.0..100.0, -100.0..100.0, -100.0..100.0).prop_map(|(l, a, b)| Lab { l, a, b })
    }

    proptest! {
        #[test]
        fn symmetric_and_zero_on_itself(one in colour(), other in colour()) {
            let there = ciede2000(one, other);
            prop_assert!(there.is_finite() && there >= 0.0);
            prop_assert!((there - ciede2000(other, one)).abs() < 1e-9);
            prop_assert_eq!(ciede2000(one, one), 0.0);
        }
    }
}
