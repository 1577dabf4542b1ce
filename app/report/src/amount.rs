//! Grams, metres and volumes in words, with digits enough for a part of any size.

/// An amount with three digits or so; small ones keep two that say something.
///
/// ```
/// use report::amount::amount;
/// assert_eq!([123.4, 12.34, 0.123, 0.0346].map(amount), ["123", "12.3", "0.12", "0.035"]);
/// assert_eq!([0.0, 2.04e-6].map(amount), ["0", "0.000002"]);
/// ```
pub fn amount(value: f64) -> String {
    match value.abs() {
        0.0 => "0".to_owned(),
        v if v < 0.0995 => {
            let leading = v.log10().floor().max(-9.0);
            let text = format!("{value:.0$}", (1.0 - leading) as usize);
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
        v if v < 0.995 => format!("{value:.2}"),
        v if v < 99.95 => format!("{value:.1}"),
        _ => format!("{value:.0}"),
    }
}
