//! Whether a picture's codes are sRGB, by what its file says of them.
//!
//! The chunks are those of the PNG specification (W3C, third edition: cICP before iCCP before
//! sRGB before gAMA and cHRM); a profile is read as ICC.1 (ISO 15076-1) lays it out, as far as
//! primaries and transfer curves go. A file that says nothing is taken as sRGB, as browsers do.

use png::{ColorType, Info, SourceChromaticities};

/// How far a primary, a white or a transfer curve may be from sRGB's: roundings, and no more.
const NEARLY: f64 = 0.003;

/// sRGB's primaries and white, x and y (IEC 61966-2-1).
const CHROMATICITIES: [(f64, f64); 4] =
    [(0.3127, 0.3290), (0.64, 0.33), (0.30, 0.60), (0.15, 0.06)];

/// sRGB's primaries as profiles have them: XYZ, adapted to D50 by Bradford's matrix.
const COLORANTS: [(&[u8; 4], [f64; 3]); 3] = [
    (b"rXYZ", [0.4360, 0.2225, 0.0139]),
    (b"gXYZ", [0.3851, 0.7169, 0.0971]),
    (b"bXYZ", [0.1431, 0.0606, 0.7141]),
];

/// What to do about codes that are something else.
const TO_DO: &str = "have the camera save sRGB, or convert the photograph to sRGB (and nothing \
                     else) before you save it as PNG";

/// IEC 61966-2-1, for codes finer than 8 bits.
pub(crate) fn decoded(code: f64) -> f64 {
    match code <= 0.04045 {
        true => code / 12.92,
        false => ((code + 0.055) / 1.055).powf(2.4),
    }
}

/// What a picture's codes are, if they are not sRGB, in words.
pub(crate) fn other_than_srgb(info: &Info) -> Option<String> {
    if matches!(
        info.color_type,
        ColorType::Grayscale | ColorType::GrayscaleAlpha
    ) {
        return Some("the picture is greyscale; save the photograph in colour".into());
    }
    if let Some(points) = info.coding_independent_code_points {
        let srgb = points.color_primaries == 1
            && points.transfer_function == 13
            && points.is_video_full_range_image;
        return (!srgb).then(|| {
            format!(
                "the picture has another colour space than sRGB (its cICP chunk names primaries {} \
                 and transfer {}); {TO_DO}",
                points.color_primaries, points.transfer_function
            )
        });
    }
    if let Some(profile) = &info.icc_profile {
        return of_profile(profile);
    }
    if info.srgb.is_some() {
        return None;
    }
    let gamma = info.gama_chunk.map(|g| f64::from(g.into_value()));
    if let Some(gamma) = gamma.filter(|g| (g - 1.0 / 2.2).abs() > NEARLY) {
        return Some(format!(
            "the picture has a gamma of {gamma:.3}, and sRGB has about 0.455; {TO_DO}"
        ));
    }
    let other = info.chrm_chunk.as_ref().filter(|c| !near_srgb(c));
    other.map(|_| format!("the picture's primaries are not sRGB's; {TO_DO}"))
}

fn near_srgb(found: &SourceChromaticities) -> bool {
    let found = [found.white, found.red, found.green, found.blue];
    found.iter().zip(CHROMATICITIES).all(|((x, y), (sx, sy))| {
        let near = |found: &png::ScaledFloat, srgb: f64| {
            (f64::from(found.into_value()) - srgb).abs() < NEARLY
        };
        near(x, sx) && near(y, sy)
    })
}

/// What a profile says, if that is not sRGB.
fn of_profile(bytes: &[u8]) -> Option<String> {
    let profile = Profile(bytes);
    let named = match profile.name() {
        Some(name) => format!("'{name}'"),
        None => "without a name".to_owned(),
    };
    match profile.is_srgb() {
        Some(true) => None,
        Some(false) => Some(format!(
            "the picture has the colour profile {named}, which is not sRGB; {TO_DO}"
        )),
        None => Some(format!(
            "the picture has a colour profile {named} that can't be recognised as sRGB; {TO_DO}"
        )),
    }
}

/// An ICC profile.
struct Profile<'a>(&'a [u8]);

impl<'a> Profile<'a> {
    fn tag(&self, wanted: &[u8; 4]) -> Option<&'a [u8]> {
        let count = u32_at(self.0, 128)?.min(1000);
        let entry = (0..count as usize)
            .map(|i| 132 + 12 * i)
            .find(|at| self.0.get(*at..at + 4) == Some(wanted))?;
        let from = u32_at(self.0, entry + 4)? as usize;
        let size = u32_at(self.0, entry + 8)? as usize;
        self.0.get(from..from.checked_add(size)?)
    }

    /// Whether primaries and curves are those of sRGB; `None` if it has none.
    fn is_srgb(&self) -> Option<bool> {
        if self.0.get(16..20) != Some(b"RGB ") {
            return None;
        }
        for (name, srgb) in COLORANTS {
            let tag = self.tag(name)?;
            for (i, srgb) in srgb.into_iter().enumerate() {
                if (fixed_at(tag, 8 + 4 * i)? - srgb).abs() > NEARLY {
                    return Some(false);
                }
            }
        }
        for name in [b"rTRC", b"gTRC", b"bTRC"] {
            let tag = self.tag(name)?;
            for i in 0..=16 {
                let code = f64::from(i) / 16.0;
                if (curve(tag, code)? - decoded(code)).abs() > NEARLY {
                    return Some(false);
                }
            }
        }
        Some(true)
    }

    /// The name that it gives itself: ASCII in version 2, UTF-16 in version 4.
    fn name(&self) -> Option<String> {
        const LONGEST: usize = 60;
        let tag = self.tag(b"desc")?;
        let letters: String = match tag.get(..4)? {
            b"desc" => {
                let length = u32_at(tag, 8)? as usize;
                let text = tag.get(12..12usize.checked_add(length)?)?;
                String::from_utf8_lossy(text).into_owned()
            }
            b"mluc" => {
                let length = u32_at(tag, 20)? as usize;
                let from = u32_at(tag, 24)? as usize;
                let text = tag.get(from..from.checked_add(length)?)?;
                let units = text.chunks_exact(2).map(|pair| match pair {
                    &[high, low] => u16::from_be_bytes([high, low]),
                    _ => 0,
                });
                char::decode_utf16(units).filter_map(Result::ok).collect()
            }
            _ => return None,
        };
        let letters = letters.chars().filter(|c| !c.is_control()).take(LONGEST);
        Some(letters.collect::<String>()).filter(|name| !name.trim().is_empty())
    }
}

/// Linear light of a code by a profile's curve: a table, a power, or one of its formulas.
fn curve(tag: &[u8], code: f64) -> Option<f64> {
    match tag.get(..4)? {
        b"curv" => match u32_at(tag, 8)? as usize {
            0 => Some(code),
            1 => Some(code.powf(f64::from(u16_at(tag, 12)?) / 256.0)),
            count => {
                let place = code * (count - 1) as f64;
                let below = (place.floor() as usize).min(count - 2);
                let value = |i: usize| Some(f64::from(u16_at(tag, 12 + 2 * i)?) / 65535.0);
                let (low, high) = (value(below)?, value(below + 1)?);
                Some(low + (high - low) * (place - below as f64))
            }
        },
        b"para" => {
            let p = |i: usize| fixed_at(tag, 12 + 4 * i);
            let g = p(0)?;
            let kind = u16_at(tag, 8)?;
            if kind == 0 {
                return Some(code.powf(g));
            }
            let (a, b) = (p(1)?, p(2)?);
            let (c, d, e, f) = match kind {
                1 => (0.0, -b / a, 0.0, 0.0),
                2 => (0.0, -b / a, p(3)?, p(3)?),
                3 => (p(3)?, p(4)?, 0.0, 0.0),
                4 => (p(3)?, p(4)?, p(5)?, p(6)?),
                _ => return None,
            };
            Some(match code >= d {
                true => (a * code + b).max(0.0).powf(g) + e,
                false => c * code + f,
            })
        }
        _ => None,
    }
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let two = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_be_bytes(two.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

/// A number of 16 bits before and 16 after the point.
fn fixed_at(bytes: &[u8], at: usize) -> Option<f64> {
    Some(f64::from(u32_at(bytes, at)? as i32) / 65536.0)
}

#[cfg(test)]
mod tests {
    use std::borrow::Cow;

    use png::{ScaledFloat, SourceChromaticities, SrgbRenderingIntent};

    use super::*;

    /// A profile of three primaries and one curve.
    fn profile(primaries: [[f64; 3]; 3], curve: &[u8]) -> Vec<u8> {
        let fixed = |v: f64| ((v * 65536.0).round() as i32).to_be_bytes();
        let mut tags: Vec<(&[u8; 4], Vec<u8>)> = Vec::new();
        for (name, xyz) in [b"rXYZ", b"gXYZ", b"bXYZ"].into_iter().zip(primaries) {
            let mut body = b"XYZ \0\0\0\0".to_vec();
            body.extend(xyz.into_iter().flat_map(fixed));
            tags.push((name, body));
        }
        for name in [b"rTRC", b"gTRC", b"bTRC"] {
            tags.push((name, curve.to_vec()));
        }
        tags.push((b"desc", b"desc\0\0\0\0\0\0\0\x0aHarbour RGB".to_vec()));
        let mut bytes = vec![0; 128];
        bytes[16..20].copy_from_slice(b"RGB ");
        bytes.extend((tags.len() as u32).to_be_bytes());
        let mut from = 132 + 12 * tags.len();
        for (name, body) in &tags {
            bytes.extend_from_slice(*name);
            bytes.extend((from as u32).to_be_bytes());
            bytes.extend((body.len() as u32).to_be_bytes());
            from += body.len();
        }
        bytes.extend(tags.into_iter().flat_map(|(_, body)| body));
        bytes
    }

    /// sRGB's curve as the profile format's third formula.
    fn srgb_curve() -> Vec<u8> {
        let mut body = b"para\0\0\0\0\0\x03\0\0".to_vec();
        for v in [2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045] {
            body.extend(((v * 65536.0f64).round() as i32).to_be_bytes());
        }
        body
    }

    fn said(set: impl FnOnce(&mut Info<'static>)) -> Option<String> {
        let mut info = Info::with_size(1, 1);
        info.color_type = ColorType::Rgb;
        set(&mut info);
        other_than_srgb(&info)
    }

    #[test]
    fn what_says_nothing_or_srgb_is_taken() {
        assert_eq!(said(|_| {}), None);
        assert_eq!(
            said(|i| i.srgb = Some(SrgbRenderingIntent::Perceptual)),
            None
        );
        assert_eq!(
            said(|i| i.gama_chunk = Some(ScaledFloat::new(0.45455))),
            None
        );
        let srgb = COLORANTS.map(|c| c.1);
        let bytes = profile(srgb, &srgb_curve());
        assert_eq!(said(|i| i.icc_profile = Some(Cow::Owned(bytes))), None);
    }

    #[test]
    fn everything_else_is_named() {
        let grey = said(|i| i.color_type = ColorType::Grayscale).unwrap();
        assert!(grey.contains("greyscale"), "{grey}");
        let linear = said(|i| i.gama_chunk = Some(ScaledFloat::new(1.0))).unwrap();
        assert!(linear.contains("gamma of 1.000"), "{linear}");
        // The primaries of a wide-gamut display, SMPTE EG 432-1 (from memory).
        let wide =
            SourceChromaticities::new((0.3127, 0.329), (0.68, 0.32), (0.265, 0.69), (0.15, 0.06));
        let wide = said(|i| i.chrm_chunk = Some(wide)).unwrap();
        assert!(wide.contains("primaries"), "{wide}");
        let other = [
            [0.5151, 0.2412, -0.0011],
            [0.2920, 0.6922, 0.0419],
            [0.1571, 0.0666, 0.7841],
        ];
        let bytes = profile(other, &srgb_curve());
        let named = said(|i| i.icc_profile = Some(Cow::Owned(bytes))).unwrap();
        assert!(named.contains("'Harbour RG"), "{named}");
        // sRGB's primaries with a plain power.
        let power = b"curv\0\0\0\0\0\0\0\x01\x01\xcd";
        let bytes = profile(COLORANTS.map(|c| c.1), power);
        assert!(said(|i| i.icc_profile = Some(Cow::Owned(bytes))).is_some());
        for length in 0..300 {
            let bytes = profile(other, power);
            let cut = bytes.get(..length).unwrap().to_vec();
            assert!(said(|i| i.icc_profile = Some(Cow::Owned(cut))).is_some());
        }
    }
}
