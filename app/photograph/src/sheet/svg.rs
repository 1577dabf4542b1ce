//! The sheet as SVG 1.1.

use std::fmt::Write as _;

use super::shapes::{Paper, Shape, TITLE, shapes};

/// The sheet as a drawing of its own size.
pub fn svg(paper: Paper) -> String {
    let (width, height) = paper.size_mm();
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"0 0 {width} {height}\">\n<title>{TITLE}</title>\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n<g fill=\"#000\">\n"
    );
    for shape in shapes(paper) {
        // A String takes whatever is written.
        let _ = match shape {
            Shape::Filled(rect) => writeln!(
                text,
                "<rect x=\"{:.3}\" y=\"{:.3}\" width=\"{:.3}\" height=\"{:.3}\"/>",
                rect.x.0,
                rect.y.0,
                rect.x.1 - rect.x.0,
                rect.y.1 - rect.y.0
            ),
            Shape::Text { at, size_mm, words } => writeln!(
                text,
                "<text x=\"{:.3}\" y=\"{:.3}\" font-family=\"sans-serif\" \
                 font-size=\"{size_mm}\">{words}</text>",
                at.0, at.1
            ),
        };
    }
    text.push_str("</g>\n</svg>\n");
    text
}
