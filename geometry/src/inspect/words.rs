//! Sizes in words, with digits enough for a part of any size.

use glam::DVec3;

/// Significant digits of a size.
const DIGITS: i32 = 4;

/// A volume, mm³, in cm³ from a tenth of one upwards: "12.34 cm³", "0.3142 mm³".
///
/// ```
/// use geometry::inspect::volume_words;
/// assert_eq!(volume_words(12_344.0), "12.34 cm³");
/// assert_eq!(volume_words(6.4e-5), "0.000064 mm³");
/// ```
pub fn volume_words(mm3: f64) -> String {
    match mm3.abs() >= 100.0 {
        true => format!("{} cm³", significant(mm3 / 1000.0)),
        false => format!("{} mm³", significant(mm3)),
    }
}

/// An area, mm², in cm² from one upwards.
///
/// ```
/// use geometry::inspect::area_words;
/// assert_eq!((area_words(612.3), area_words(0.24)), ("6.123 cm²".into(), "0.24 mm²".into()));
/// ```
pub fn area_words(mm2: f64) -> String {
    match mm2.abs() >= 100.0 {
        true => format!("{} cm²", significant(mm2 / 100.0)),
        false => format!("{} mm²", significant(mm2)),
    }
}

/// A place: "12.5, 0, 3.02 mm".
pub fn place_words(p: DVec3) -> String {
    let [x, y, z] = p.to_array().map(|v| {
        // To a tenth of a micron; far from the origin a number has no more anyway.
        let rounded = (v * 1e4).round() / 1e4 + 0.0;
        rounded.to_string()
    });
    format!("{x}, {y}, {z} mm")
}

/// A number to [`DIGITS`] significant digits, or all digits before the point.
pub(super) fn significant(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.abs().to_string();
    }
    let exponent = value.abs().log10().floor() as i32;
    let after = (DIGITS - 1 - exponent).clamp(0, 12) as usize;
    let text = format!("{value:.after$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    // What rounding leaves of a sum of nothing.
    match text {
        "-0" => "0".to_owned(),
        text => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_have_four_digits_and_nothing_has_no_sign() {
        assert_eq!(volume_words(-1e-13), "0 mm³");
        assert_eq!(volume_words(-4180.4), "-4.18 cm³");
        assert_eq!(significant(0.000_123_456), "0.0001235");
    }
}
