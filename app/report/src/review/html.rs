//! Pieces of HTML. Every text that comes from a person goes through [`escaped`].

use blend::Srgb;
use data_encoding::BASE64;
use render::Image;

use crate::markup::escaped;

/// A list of entries that are HTML already.
pub(crate) fn list(class: &str, entries: impl Iterator<Item = String>) -> String {
    let entries: String = entries.map(|e| format!("<li>{e}</li>\n")).collect();
    format!("<ul class=\"{class}\">\n{entries}</ul>\n")
}

/// A patch of colour, or of the colours of a fade; the words are for those who don't see it.
pub(crate) fn swatch(shades: &[Srgb], words: &str) -> String {
    let fill = match shades {
        [] => "transparent".to_owned(),
        [one] => one.to_string(),
        many => {
            let stops: Vec<String> = many
                .iter()
                .step_by((many.len() / 12).max(1))
                .chain(many.last())
                .map(Srgb::to_string)
                .collect();
            format!("linear-gradient(90deg,{})", stops.join(","))
        }
    };
    let words = escaped(words);
    format!(
        "<span class=\"sw\" role=\"img\" aria-label=\"{words}\" style=\"background:{fill} border-box\"></span>"
    )
}

/// A cell of a table.
pub(crate) enum Cell {
    /// Text, escaped here.
    Text(String),
    /// A number with its unit, set to the right.
    Number(String),
    /// HTML as it is.
    Html(String),
}

/// A table: the first cell of each row is its heading; heads of numbers are set to the right.
pub(crate) fn table(caption: &str, heads: &[(&str, bool)], rows: Vec<Vec<Cell>>) -> String {
    let mut out = format!(
        "<div class=\"table\"><table>\n<caption>{}</caption>\n<thead><tr>",
        escaped(caption)
    );
    for (head, is_number) in heads {
        let class = if *is_number { " class=\"n\"" } else { "" };
        out.push_str(&format!("<th scope=\"col\"{class}>{}</th>", escaped(head)));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in rows {
        out.push_str("<tr>");
        for (i, cell) in row.into_iter().enumerate() {
            let (class, inner) = match cell {
                Cell::Text(text) => ("", escaped(&text)),
                Cell::Number(text) => (" class=\"n\"", escaped(&text)),
                Cell::Html(html) => ("", html),
            };
            out.push_str(&match i {
                0 => format!("<th scope=\"row\"{class}>{inner}</th>"),
                _ => format!("<td{class}>{inner}</td>"),
            });
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table></div>\n");
    out
}

/// Labels and values side by side.
pub(crate) fn facts(pairs: &[(&str, String)]) -> String {
    let inner: String = pairs
        .iter()
        .map(|(label, value)| {
            format!(
                "<div><dt>{}</dt><dd>{}</dd></div>\n",
                escaped(label),
                escaped(value)
            )
        })
        .collect();
    format!("<dl class=\"facts\">\n{inner}</dl>\n")
}

/// A picture as an address that holds it.
pub(crate) fn data_uri(image: &Image) -> String {
    let mut bytes = Vec::new();
    // A Vec takes whatever is written.
    let _ = image.write_png(&mut bytes);
    png_uri(&bytes)
}

/// A PNG file as an address that holds it.
pub(crate) fn png_uri(bytes: &[u8]) -> String {
    format!("data:image/png;base64,{}", BASE64.encode(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_gets_out_of_its_place() {
        let text = escaped("</script><img src=x onerror=\"a('b')\">&\u{0}\u{202e}");
        assert!(!text.contains(['<', '>', '"', '\'', '\u{0}', '\u{202e}']));
        assert!(text.ends_with("&amp;  "));
        let row = vec![vec![Cell::Text("<b>".into()), Cell::Number("1 > 0".into())]];
        let table = table("a & b", &[("<", false), ("n", true)], row);
        assert!(table.contains("&lt;b&gt;") && table.contains("1 &gt; 0"));
        assert!(table.contains("a &amp; b"));
    }
}
