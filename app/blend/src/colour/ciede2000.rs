//! The CIEDE2000 colour difference.
//!
//! G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation
//! notes, supplementary test data, and mathematical observations", Color Research and
//! Application 30 (2005) 21–30. Numbers in brackets are that paper's equations.

use super::Lab;
use super::lab::angle_deg;

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
    difference(one, other, weighting, f64::INFINITY)
}

/// The difference of two colours, or infinity where it is sure early on to be more than `most`.
fn difference(one: Lab, other: Lab, weighting: Weighting, most: f64) -> f64 {
    // The rest of (22) is never negative, since the rotation is less than 2.
    let dl = (other.l - one.l) / (lightness_weight((one.l + other.l) / 2.0) * weighting.lightness);
    if dl.abs() > most {
        return f64::INFINITY;
    }

    // (2)–(7): a* stretched near the grey axis, then chroma.
    let stretch = stretch((one.chroma() + other.chroma()) / 2.0);
    let [first, second] = [one, other].map(|colour| Stretched::of(colour, stretch));

    // (8)–(14): the differences and means.
    let chroma = (first.chroma + second.chroma) / 2.0;
    let (delta_h, hue) = first.hues(&second);

    // (15)–(21): the weights, but for the rotation.
    let dc = (second.chroma - first.chroma) / (chroma_weight(chroma) * weighting.chroma);
    let dh = delta_h / (hue_weight(chroma, hue) * weighting.hue);

    // (22), where the rotation is −2 R_C sin 2Δθ and 2Δθ at most 60°.
    let straight = dl * dl + dc * dc + dh * dh;
    let most_turned = 0.867 * seventh_root_weight(chroma) * (dc * dc + dh * dh);
    if straight - most_turned > most * most {
        return f64::INFINITY;
    }
    // Rounding may bring the sum of a vanishing difference below 0.
    let squared = straight + rotation(chroma, hue) * dc * dh;
    if squared < 0.0 { 0.0 } else { squared.sqrt() }
}

/// The place of the colour of a list that is nearest to one by CIEDE2000 with parametric factors,
/// the first of equals; none if the list is empty. A good guess of the place saves time.
///
/// ```
/// use blend::{Lab, Weighting, nearest_colour};
/// let grey = |l| Lab { l, a: 0.0, b: 0.0 };
/// let list = [grey(10.0), grey(50.0), grey(90.0)];
/// assert_eq!(nearest_colour(grey(57.0), &list, Weighting::default(), 0), Some(1));
/// assert_eq!(nearest_colour(grey(57.0), &[], Weighting::default(), 0), None);
/// ```
pub fn nearest_colour(to: Lab, list: &[Lab], weighting: Weighting, guess: usize) -> Option<usize> {
    let guess = guess.min(list.len().checked_sub(1)?);
    let mut nearest = guess;
    let mut least = ciede2000_by(to, list[guess], weighting);
    for (place, colour) in list.iter().enumerate().filter(|(place, _)| *place != guess) {
        let off = difference(to, *colour, weighting, least);
        let order = off.total_cmp(&least);
        if order.is_lt() || order.is_eq() && place < nearest {
            (nearest, least) = (place, off);
        }
    }
    Some(nearest)
}

/// A hue as a direction: its cosine and sine, so that no angle need be worked out.
#[derive(Clone, Copy)]
pub(super) struct Hue {
    pub cos: f64,
    pub sin: f64,
}

impl Hue {
    /// 0°, the paper's hue of a grey.
    const ZERO: Self = Self { cos: 1.0, sin: 0.0 };

    /// The direction of a vector with a length.
    fn along(a: f64, b: f64, length: f64) -> Self {
        Self {
            cos: a / length,
            sin: b / length,
        }
    }
}

/// a′, b and C′ of a colour (5, 6).
#[derive(Clone, Copy)]
pub(super) struct Stretched {
    a: f64,
    b: f64,
    pub chroma: f64,
}

impl Stretched {
    /// Two hues whose directions add up to no more than this are opposite but for rounding.
    const OPPOSITE: f64 = 1e-10;

    pub(super) fn of(colour: Lab, stretch: f64) -> Self {
        let a = colour.a * stretch;
        Self {
            a,
            b: colour.b,
            chroma: Lab { a, ..colour }.chroma(),
        }
    }

    /// Its hue (7).
    pub(super) fn hue(&self) -> Hue {
        match self.chroma == 0.0 {
            true => Hue::ZERO,
            false => Hue::along(self.a, self.b, self.chroma),
        }
    }

    /// The hue difference ΔH′ of another colour, and the mean hue (10, 11, 14).
    ///
    /// With u the hues' directions, C₁C₂ (u₁ + u₂) points to the mean hue, and it is
    /// 2 C₁C₂ cos(Δh/2) long; so sin(Δh/2) is the cross product of both colours over that length.
    fn hues(&self, other: &Self) -> (f64, Hue) {
        let product = self.chroma * other.chroma;
        if product == 0.0 {
            let one = if self.chroma == 0.0 { other } else { self };
            return (0.0, one.hue());
        }
        let a = self.a * other.chroma + other.a * self.chroma;
        let b = self.b * other.chroma + other.b * self.chroma;
        let length = (a * a + b * b).sqrt();
        if length <= Self::OPPOSITE * product {
            return self.opposite(other, product);
        }
        let cross = self.a * other.b - self.b * other.a;
        (
            2.0 * product.sqrt() * cross / length,
            Hue::along(a, b, length),
        )
    }

    /// The same for opposite hues: the mean is the one between their angles.
    fn opposite(&self, other: &Self, product: f64) -> (f64, Hue) {
        let delta = 2.0 * product.sqrt();
        let is_less = self.b > 0.0 || self.b == 0.0 && self.a > 0.0;
        let (delta, less) = if is_less {
            (delta, self)
        } else {
            (-delta, other)
        };
        let Hue { cos, sin } = less.hue();
        // A quarter turn on from the lesser angle.
        (
            delta,
            Hue {
                cos: -sin,
                sin: cos,
            },
        )
    }
}

/// S_L (16) for a mean lightness.
pub(super) fn lightness_weight(l: f64) -> f64 {
    let squared = (l - 50.0) * (l - 50.0);
    1.0 + 0.015 * squared / (20.0 + squared).sqrt()
}

/// S_C (17) for a mean chroma.
pub(super) fn chroma_weight(chroma: f64) -> f64 {
    1.0 + 0.045 * chroma
}

/// S_H (15, 18) for a mean chroma and hue, with
/// T = 1 − 0.17 cos(h − 30°) + 0.24 cos 2h + 0.32 cos(3h + 6°) − 0.20 cos(4h − 63°).
pub(super) fn hue_weight(chroma: f64, Hue { cos, sin }: Hue) -> f64 {
    // Cosines and sines of 30°, 6° and 63°.
    const BY_30: (f64, f64) = (0.866_025_403_784_438_6, 0.5);
    const BY_6: (f64, f64) = (0.994_521_895_368_273_3, 0.104_528_463_267_653_46);
    const BY_63: (f64, f64) = (0.453_990_499_739_546_8, 0.891_006_524_188_367_9);
    let twice = (cos * cos - sin * sin, 2.0 * sin * cos);
    let thrice = (twice.0 * cos - twice.1 * sin, twice.1 * cos + twice.0 * sin);
    let four = (
        twice.0 * twice.0 - twice.1 * twice.1,
        2.0 * twice.0 * twice.1,
    );
    let t = 1.0 - 0.17 * (cos * BY_30.0 + sin * BY_30.1)
        + 0.24 * twice.0
        + 0.32 * (thrice.0 * BY_6.0 - thrice.1 * BY_6.1)
        - 0.20 * (four.0 * BY_63.0 + four.1 * BY_63.1);
    1.0 + 0.015 * chroma * t
}

/// R_T (19–21) for a mean chroma and hue: −R_C sin 2Δθ, where R_C is twice the weight of the
/// chroma and Δθ = 30° exp(−((h − 275°)/25°)²).
pub(super) fn rotation(chroma: f64, hue: Hue) -> f64 {
    // cos 142°. Below 142° the sine is less than 1e-12.
    const COS_142: f64 = -0.788;
    if hue.sin > 0.0 && hue.cos > COS_142 {
        return 0.0;
    }
    let off = (angle_deg(hue.cos, hue.sin) - 275.0) / 25.0;
    let turned = (60.0 * (-off * off).exp()).to_radians().sin();
    -2.0 * seventh_root_weight(chroma) * turned
}

/// How much a* is stretched for a mean chroma: 1 + G (4).
pub(super) fn stretch(mean_chroma: f64) -> f64 {
    1.5 - 0.5 * seventh_root_weight(mean_chroma)
}

/// √(C⁷ / (C⁷ + 25⁷)).
fn seventh_root_weight(chroma: f64) -> f64 {
    let cubed = chroma * chroma * chroma;
    let seventh = cubed * cubed * chroma;
    (seventh / (seventh + P7)).sqrt()
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

    /// The formula as the paper writes it, with angles in degrees.
    fn by_angles(one: Lab, other: Lab) -> f64 {
        let cos = |degrees: f64| degrees.to_radians().cos();
        let weight = |c: f64| (c.powi(7) / (c.powi(7) + 25f64.powi(7))).sqrt();
        let g = 0.5 * (1.0 - weight((one.a.hypot(one.b) + other.a.hypot(other.b)) / 2.0));
        let polar = |lab: Lab| {
            let a = lab.a * (1.0 + g);
            (
                a.hypot(lab.b),
                lab.b.atan2(a).to_degrees().rem_euclid(360.0),
            )
        };
        let ((c1, h1), (c2, h2)) = (polar(one), polar(other));
        let (mut turn, mut h) = (h2 - h1, (h1 + h2) / 2.0);
        // Opposite hues are so but for rounding.
        if turn.abs() > 180.0 + 1e-9 {
            turn -= 360.0 * turn.signum();
            h = if h < 180.0 { h + 180.0 } else { h - 180.0 };
        }
        if c1 * c2 == 0.0 {
            (turn, h) = (0.0, h1 + h2);
        }
        let (l, c) = ((one.l + other.l) / 2.0, (c1 + c2) / 2.0);
        let t = 1.0 - 0.17 * cos(h - 30.0) + 0.24 * cos(2.0 * h) + 0.32 * cos(3.0 * h + 6.0)
            - 0.20 * cos(4.0 * h - 63.0);
        let theta = 30.0 * (-((h - 275.0) / 25.0).powi(2)).exp();
        let rotation = -2.0 * weight(c) * (2.0 * theta).to_radians().sin();
        let dl = (other.l - one.l)
            / (1.0 + 0.015 * (l - 50.0).powi(2) / (20.0 + (l - 50.0).powi(2)).sqrt());
        let dc = (c2 - c1) / (1.0 + 0.045 * c);
        let dh = 2.0 * (c1 * c2).sqrt() * (turn / 2.0).to_radians().sin() / (1.0 + 0.015 * c * t);
        (dl * dl + dc * dc + dh * dh + rotation * dc * dh)
            .max(0.0)
            .sqrt()
    }

    proptest! {
        #[test]
        fn directions_give_what_angles_give(one in colour(), other in colour()) {
            let grey = |lab: Lab| Lab { a: 0.0, b: 0.0, ..lab };
            let opposite = Lab { a: -one.a, b: -one.b, ..other };
            for (a, b) in [(one, other), (grey(one), other), (one, grey(other)), (grey(one), grey(other)),
                (one, opposite), (opposite, one)] {
                prop_assert!((ciede2000(a, b) - by_angles(a, b)).abs() < 1e-9);
            }
        }

        #[test]
        fn the_nearest_is_the_one_of_the_least_difference(
            to in colour(), list in prop::collection::vec(colour(), 1..12), forgiving in any::<bool>(),
        ) {
            let weighting = if forgiving { Weighting::LIGHTNESS } else { Weighting::default() };
            let off = |place: &usize| ciede2000_by(to, list[*place], weighting);
            let least = (0..list.len()).min_by(|a, b| off(a).total_cmp(&off(b)));
            for guess in 0..list.len() {
                prop_assert_eq!(nearest_colour(to, &list, weighting, guess), least);
            }
        }

        #[test]
        fn symmetric_and_zero_on_itself(one in colour(), other in colour()) {
            let there = ciede2000(one, other);
            prop_assert!(there.is_finite() && there >= 0.0);
            prop_assert!((there - ciede2000(other, one)).abs() < 1e-9);
            prop_assert_eq!(ciede2000(one, one), 0.0);
        }
    }
}
