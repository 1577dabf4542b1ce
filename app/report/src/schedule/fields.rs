//! Fields of tables: comment lines and numbers.

use std::io;

/// One comment line. A break in a name would let the name end the comment.
pub(crate) fn comment(out: &mut dyn io::Write, label: &str, value: &str) -> io::Result<()> {
    let value = value.replace(char::is_control, " ");
    writeln!(out, "# {label}: {value}")
}

/// A number to six decimals, without zeros at its end.
pub fn number(value: f64) -> String {
    let text = format!("{value:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "-0" => "0".to_owned(),
        text => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short() {
        assert_eq!(number(0.1 + 0.2), "0.3");
        assert_eq!(number(-0.000_000_1), "0");
        assert_eq!(number(100.0), "100");
        assert_eq!(number(12.345_678_9), "12.345679");
    }
}
