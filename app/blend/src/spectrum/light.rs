//! Lights other than daylight, and how well a match holds under them.

use super::{BANDS, Spectrum, light_tables, observer};
use crate::{Lab, Xyz, ciede2000};

/// A light that things are looked at in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    /// Daylight, D65: what everything else here is told for.
    D65,
    /// An incandescent lamp, CIE illuminant A.
    A,
    /// A fluorescent lamp of three narrow bands, CIE F11.
    F11,
    /// A white LED of 4100 K or so, CIE LED-B3.
    LedB3,
}

impl Light {
    /// Every light but D65.
    pub const OTHERS: [Self; 3] = [Self::A, Self::F11, Self::LedB3];

    fn weights(self) -> &'static [[f64; 3]; BANDS] {
        match self {
            Self::D65 => &observer::WEIGHTS,
            Self::A => &light_tables::A,
            Self::F11 => &light_tables::F11,
            Self::LedB3 => &light_tables::LED_B3,
        }
    }

    /// What a perfect white looks like in it.
    pub fn white(self) -> Xyz {
        Spectrum::flat(1.0).to_xyz_under(self)
    }

    /// CIELAB of XYZ seen in it, by an eye used to it.
    pub fn lab(self, seen: Xyz) -> Lab {
        seen.to_lab_by(self.white())
    }
}

impl std::fmt::Display for Light {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::D65 => "D65",
            Self::A => "A",
            Self::F11 => "F11",
            Self::LedB3 => "LED-B3",
        })
    }
}

/// A name that is no light's.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is not a known light; write D65, A, F11 or LED-B3")]
pub struct LightError(String);

impl std::str::FromStr for Light {
    type Err = LightError;

    /// By its name in CIE 15, in letters of either case.
    fn from_str(text: &str) -> Result<Self, LightError> {
        let name = |light: &Self| text.trim().eq_ignore_ascii_case(&light.to_string());
        let mut all = [Self::D65].into_iter().chain(Self::OTHERS);
        all.find(name)
            .ok_or_else(|| LightError(text.chars().take(40).collect()))
    }
}

impl Spectrum {
    /// The colour in a light, CIE 1931 2° observer; a perfect white has Y = 1.
    pub(crate) fn to_xyz_under(self, light: Light) -> Xyz {
        self.weighed(light.weights())
    }

    /// The colour in a light as CIELAB.
    pub fn to_lab_under(&self, light: Light) -> Lab {
        light.lab(self.to_xyz_under(light))
    }
}

/// How far two surfaces that match under D65 fall apart in another light, ΔE00: the special
/// metamerism index for a change of illuminant (CIE 15:2018). What they differ by under D65 is
/// first taken out, by the ratio of their X, Y and Z there.
///
/// ```
/// use blend::spectrum::{Light, Spectrum, metamerism};
/// let grey = Spectrum::flat(0.3);
/// assert_eq!(metamerism(&grey, &grey.map(|r| 1.2 * r), Light::A), 0.0);
/// ```
pub fn metamerism(standard: &Spectrum, sample: &Spectrum, light: Light) -> f64 {
    let by_day = [standard, sample].map(|s| s.to_xyz().to_array());
    let seen = sample.to_xyz_under(light).to_array();
    let mended = std::array::from_fn(|i| match by_day[1][i] > 0.0 {
        true => seen[i] * by_day[0][i] / by_day[1][i],
        false => seen[i],
    });
    let off = ciede2000(
        standard.to_lab_under(light),
        light.lab(Xyz::from_array(mended)),
    );
    // Two equal products may differ in their last digit.
    if off < 1e-9 { 0.0 } else { off }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chromaticities of CIE 15:2018 (from memory): A 0.44758, 0.40745; F11 0.3805, 0.3769;
    /// LED-B3 0.3756, 0.3723.
    #[test]
    fn the_whites_are_those_of_the_tables() {
        for (light, x, y) in [
            (Light::A, 0.44758, 0.40745),
            (Light::F11, 0.3805, 0.3769),
            (Light::LedB3, 0.3756, 0.3723),
        ] {
            let [wx, wy, wz] = light.white().to_array();
            let sum = wx + wy + wz;
            assert!((wx / sum - x).abs() < 3e-4, "{light}: {}", wx / sum);
            assert!((wy / sum - y).abs() < 3e-4, "{light}: {}", wy / sum);
            let white = Spectrum::flat(1.0).to_lab_under(light);
            assert!((white.l - 100.0).abs() < 1e-9 && white.chroma() < 1e-9);
        }
    }

    #[test]
    fn names_are_read_back() {
        for light in [Light::D65].into_iter().chain(Light::OTHERS) {
            assert_eq!(light.to_string().to_lowercase().parse(), Ok(light));
        }
        assert!("moonlight".parse::<Light>().is_err());
    }

    /// A grey of a notch and two bumps that has the colour of a plain grey by day.
    #[test]
    fn a_match_falls_apart_where_reflectances_differ() {
        let teal = Xyz::from_srgb(crate::Srgb([0x1f, 0x6f, 0x8b]));
        let smooth = crate::spectrum::reconstruct(teal).spectrum;
        let mut steps = smooth;
        for (i, r) in steps.0.iter_mut().enumerate() {
            *r *= if i % 8 < 4 { 1.35 } else { 0.65 };
        }
        assert_eq!(metamerism(&smooth, &smooth, Light::F11), 0.0);
        for light in Light::OTHERS {
            assert!(metamerism(&smooth, &steps, light) > 0.5, "{light}");
        }
        assert!(metamerism(&smooth, &steps, Light::D65) < 1e-9);
    }
}
