//! From a picture's codes to linear light in the primaries of sRGB.
//!
//! What a file says of its colours is taken in the order of the PNG specification (W3C, third
//! edition): cICP before an ICC profile before sRGB before gAMA and cHRM; a JPEG has a profile
//! or nothing. A file that says nothing is taken as sRGB, as browsers do. Profiles are read by
//! `moxcms`: those of curves and primaries, those of tables, and those of a curve for grey. Whites
//! are adapted by Bradford's matrix, as profiles are (ISO 15076-1).

mod curve;
mod tables;

use moxcms::{
    Chromaticity, CicpColorPrimaries, CicpProfile, ColorPrimaries, ColorProfile, DataColorSpace,
    MatrixCoefficients, TransferCharacteristics, XyY,
};
use picture::Declared;

use curve::{Curve, TO_DO, followed, of_gamma, of_grey, srgb, three};
use tables::{Rest, Tables};

/// Codes into linear light.
pub(crate) enum ToLinear {
    /// A curve for each channel, and a matrix.
    Curves([Curve; 3], [[f64; 3]; 3]),
    /// The tables of a profile.
    Tables(Box<Tables>),
}

/// The same with the first curves written down for each code.
pub(crate) struct Coded {
    first: [Vec<f32>; 3],
    then: Then,
}

enum Then {
    Matrix([[f32; 3]; 3]),
    Tables(Box<Rest>),
}

const SAME: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

impl ToLinear {
    /// From what a file in colour says.
    ///
    /// # Errors
    /// What is wrong with it and what to do: a clause that goes on from the file's name.
    pub(crate) fn new(declared: &Declared) -> Result<Self, String> {
        if let Some((primaries, transfer, full)) = declared.cicp {
            return of_points(primaries, transfer, full);
        }
        if let Some(bytes) = &declared.icc {
            return of_profile(bytes);
        }
        if declared.srgb || (declared.gamma.is_none() && declared.chromaticities.is_none()) {
            return Ok(Self::Curves(three(|| Ok(srgb()))?, SAME));
        }
        let mut profile = ColorProfile::new_srgb();
        if let Some(points) = declared.chromaticities {
            profile = of_primaries(points)?;
        }
        let curves = three(|| of_gamma(declared.gamma))?;
        Ok(Self::Curves(curves, matrix(&profile)?))
    }

    /// From what a file in greys says. Primaries say nothing of greys.
    ///
    /// # Errors
    /// As [`ToLinear::new`].
    pub(crate) fn grey(declared: &Declared) -> Result<Self, String> {
        let curves = if let Some((primaries, transfer, full)) = declared.cicp {
            match of_points(primaries, transfer, full)? {
                Self::Curves(curves, _) => curves,
                tables @ Self::Tables(_) => return Ok(tables),
            }
        } else if let Some(bytes) = &declared.icc {
            let profile = read(bytes)?;
            three(|| of_grey(&profile))?
        } else if declared.srgb {
            three(|| Ok(srgb()))?
        } else {
            three(|| of_gamma(declared.gamma))?
        };
        Ok(Self::Curves(curves, SAME))
    }

    /// For so many evenly spaced codes.
    pub(crate) fn coded(self, count: usize) -> Coded {
        let last = count.saturating_sub(1).max(1) as f64;
        let table = |curve: Curve| (0..count).map(|i| curve(i as f64 / last) as f32).collect();
        match self {
            Self::Curves(curves, matrix) => Coded {
                first: curves.map(table),
                then: Then::Matrix(matrix.map(|row| row.map(|v| v as f32))),
            },
            Self::Tables(tables) => {
                let (first, rest) = tables.split();
                Coded {
                    first: first.map(table),
                    then: Then::Tables(Box::new(rest)),
                }
            }
        }
    }
}

impl Coded {
    /// The linear light of some codes.
    pub(crate) fn light(&self, codes: [usize; 3]) -> [f32; 3] {
        let mut own = [0.0; 3];
        for ((own, table), code) in own.iter_mut().zip(&self.first).zip(codes) {
            *own = table.get(code).copied().unwrap_or(0.0);
        }
        match &self.then {
            Then::Matrix(rows) => rows.map(|row| row.iter().zip(own).map(|(m, v)| m * v).sum()),
            Then::Tables(rest) => rest.light(own.map(f64::from)).map(|v| v as f32),
        }
    }
}

fn of_points(primaries: u8, transfer: u8, full: bool) -> Result<ToLinear, String> {
    let wrong = || {
        format!(
            "has a colour space that is not read (its cICP chunk names primaries {primaries} and \
             transfer {transfer}); {TO_DO}"
        )
    };
    let color_primaries = CicpColorPrimaries::try_from(primaries).map_err(|_| wrong())?;
    let transfer_characteristics =
        TransferCharacteristics::try_from(transfer).map_err(|_| wrong())?;
    // PQ and HLG are pictures for bright screens: their white is not the paper's.
    if !full || matches!(transfer, 16 | 18) {
        return Err(wrong());
    }
    let mut profile = ColorProfile::new_srgb();
    // Set again where the points are known; the answer says nothing.
    profile.cicp = None;
    profile.update_rgb_colorimetry_from_cicp(CicpProfile {
        color_primaries,
        transfer_characteristics,
        matrix_coefficients: MatrixCoefficients::Identity,
        full_range: true,
    });
    if profile.cicp.is_none() {
        return Err(wrong());
    }
    of_curves(&profile).ok_or_else(wrong)
}

fn read(bytes: &[u8]) -> Result<ColorProfile, String> {
    ColorProfile::new_from_slice(bytes)
        .map_err(|error| format!("has a colour profile that can't be read ({error}); {TO_DO}"))
}

fn of_profile(bytes: &[u8]) -> Result<ToLinear, String> {
    let profile = read(bytes)?;
    if profile.color_space != DataColorSpace::Rgb {
        return Err(format!("has a colour profile that is not for RGB; {TO_DO}"));
    }
    let tables = Tables::of(&profile)
        .map_err(|has| format!("has a colour profile that has {has}; {TO_DO}"))?;
    if let Some(tables) = tables {
        return Ok(ToLinear::Tables(Box::new(tables)));
    }
    of_curves(&profile).ok_or_else(|| {
        format!("has a colour profile with neither tables nor curves and primaries; {TO_DO}")
    })
}

fn of_curves(profile: &ColorProfile) -> Option<ToLinear> {
    let curves = [
        followed(profile.red_trc.as_ref()?)?,
        followed(profile.green_trc.as_ref()?)?,
        followed(profile.blue_trc.as_ref()?)?,
    ];
    Some(ToLinear::Curves(curves, matrix(profile).ok()?))
}

fn of_primaries([white, red, green, blue]: [[f64; 2]; 4]) -> Result<ColorProfile, String> {
    let point = |[x, y]: [f64; 2]| Chromaticity {
        x: x as f32,
        y: y as f32,
    };
    let [x, y] = white;
    if [white, red, green, blue].iter().any(|[_, y]| *y < 1e-3) {
        return Err(format!("has primaries that are no colours; {TO_DO}"));
    }
    let mut profile = ColorProfile::new_srgb();
    profile.update_rgb_colorimetry(
        XyY { x, y, yb: 1.0 },
        ColorPrimaries {
            red: point(red),
            green: point(green),
            blue: point(blue),
        },
    );
    Ok(profile)
}

fn matrix(profile: &ColorProfile) -> Result<[[f64; 3]; 3], String> {
    let rows = profile.transform_matrix(&ColorProfile::new_srgb()).v;
    let sound = rows
        .iter()
        .flatten()
        .all(|v| v.is_finite() && v.abs() < 100.0);
    match sound {
        true => Ok(rows),
        false => Err(format!("has primaries that are no colours; {TO_DO}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn linear(declared: &Declared, codes: [f64; 3]) -> [f64; 3] {
        let coded = ToLinear::new(declared).unwrap().coded(65_536);
        let codes = codes.map(|code| (code * 65_535.0).round() as usize);
        coded.light(codes).map(f64::from)
    }

    #[test]
    fn a_file_that_says_nothing_is_srgb() {
        let [r, g, b] = linear(&Declared::default(), [0.5, 0.25, 1.0]);
        assert!((r - 0.21404).abs() < 1e-4 && (g - 0.05088).abs() < 1e-4 && b == 1.0);
    }

    /// Display P3's green lies outside of sRGB: (−0.2249, 1.0421, −0.0786), from the primaries of
    /// SMPTE EG 432-1 and IEC 61966-2-1 by Lindbloom's equations (worked out from memory).
    #[test]
    fn wide_primaries_reach_beyond_srgb() {
        let p3 = Declared {
            cicp: Some((12, 13, true)),
            ..Declared::default()
        };
        let [r, g, b] = linear(&p3, [0.0, 1.0, 0.0]);
        assert!((r + 0.2249).abs() < 2e-3, "{r}");
        assert!((g - 1.0421).abs() < 2e-3, "{g}");
        assert!((b + 0.0786).abs() < 2e-3, "{b}");
        let named = Declared {
            chromaticities: Some([[0.3127, 0.329], [0.68, 0.32], [0.265, 0.69], [0.15, 0.06]]),
            ..Declared::default()
        };
        let other = linear(&named, [0.0, 1.0, 0.0]);
        assert!(
            other
                .iter()
                .zip([r, g, b])
                .all(|(a, b)| (a - b).abs() < 2e-3)
        );
        let white = linear(&p3, [1.0; 3]);
        assert!(white.iter().all(|v| (v - 1.0).abs() < 2e-3), "{white:?}");
    }

    #[test]
    fn a_profile_is_followed_and_a_broken_one_refused() {
        let bytes = ColorProfile::new_display_p3().encode().unwrap();
        let p3 = Declared {
            icc: Some(bytes.clone()),
            ..Declared::default()
        };
        assert!((linear(&p3, [0.0, 1.0, 0.0])[0] + 0.2249).abs() < 3e-3);
        for end in 0..bytes.len() {
            let cut = Declared {
                icc: Some(bytes[..end].to_vec()),
                ..Declared::default()
            };
            let _ = ToLinear::new(&cut);
        }
        for (cicp, said) in [((1, 16, true), "transfer 16"), ((1, 13, false), "cICP")] {
            let declared = Declared {
                cicp: Some(cicp),
                ..Declared::default()
            };
            let error = ToLinear::new(&declared).err().unwrap();
            assert!(error.contains(said), "{error}");
        }
    }

    #[test]
    fn a_gamma_is_followed() {
        let half = Declared {
            gamma: Some(1.0),
            ..Declared::default()
        };
        assert_eq!(
            linear(&half, [0.5; 3])[1].clamp(0.499, 0.501),
            linear(&half, [0.5; 3])[1]
        );
        let odd = Declared {
            gamma: Some(0.0),
            ..Declared::default()
        };
        assert!(ToLinear::new(&odd).is_err());
    }
}
