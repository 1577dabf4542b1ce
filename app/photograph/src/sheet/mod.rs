//! The page that carries the card, to print at its own size or to show on a screen.

mod pdf;
mod shapes;
mod svg;

pub use pdf::pdf;
pub use shapes::Paper;
pub use svg::svg;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_formats_say_the_size() {
        let text = svg(Paper::Letter);
        assert!(text.contains("width=\"215.9mm\" height=\"279.4mm\""));
        assert!(text.contains("100 mm"));
        let file = pdf(Paper::A4);
        assert!(file.starts_with(b"%PDF-"));
        let text = String::from_utf8_lossy(&file);
        assert!(text.contains("/MediaBox [0 0 595.2756 841.8898]"), "{text}");
    }
}
