//! Drawings: SVG (W3C Recommendation, SVG 1.1, second edition), drawn as pixels.
//!
//! A drawing is a program of sorts: it may run scripts, fetch files, and repeat itself without
//! end. What may do so is refused before anything is drawn.

use std::collections::HashMap;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::roxmltree::{Document, Node, NodeId, ParsingOptions};
use resvg::usvg::{Options, Tree};

use crate::pixels::Samples;
use crate::{Declared, Limits, Picture, PictureError};

/// The longer side of a drawing, pixels: 20 for each millimetre of one that is 100 mm wide.
const SIDE_PX: f32 = 2048.0;

/// The longest drawing that is read, bytes.
const LONGEST: usize = 8 << 20;

/// The deepest that parts of a drawing may lie in each other.
const DEEPEST: usize = 64;

/// The most parts that a drawing may have, each as often as it is used.
const MOST_PARTS: u64 = 200_000;

/// Parts that are refused, and what to do about each.
const REFUSED: [(&str, &str); 9] = [
    ("script", "save it without scripts"),
    ("foreignObject", "save it without foreign content"),
    ("image", "it may not hold other pictures: export it as PNG"),
    ("text", "turn its text into paths"),
    ("filter", "export it as PNG"),
    ("pattern", "export it as PNG"),
    ("mask", "export it as PNG"),
    ("marker", "turn its markers into paths"),
    ("animate", "save it without animation"),
];

/// Whether a file begins as a drawing does.
pub(crate) fn is_svg(bytes: &[u8]) -> bool {
    let start = String::from_utf8_lossy(bytes.get(..4096).unwrap_or(bytes));
    start.contains("<svg") && !bytes.starts_with(&[0x1f, 0x8b])
}

/// Draws a drawing, its longer side 2048 pixels, on clear ground.
pub(crate) fn decode(bytes: &[u8], limits: &Limits) -> Result<Picture, PictureError> {
    let refuse = |why: &str| PictureError::Svg(why.to_owned());
    if bytes.len() > LONGEST {
        return Err(refuse("it is more than 8 MiB long; export it as PNG"));
    }
    let text = std::str::from_utf8(bytes).map_err(|_| refuse("save it in UTF-8"))?;
    let options = ParsingOptions {
        allow_dtd: false,
        nodes_limit: MOST_PARTS as u32,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text.trim_start_matches('\u{feff}'), options)
        .map_err(|why| PictureError::Svg(format!("{why}; save it again")))?;
    check(&document)?;
    let tree = Tree::from_xmltree(&document, &Options::default())
        .map_err(|why| PictureError::Svg(format!("{why}; save it again")))?;
    draw(&tree, limits)
}

fn draw(tree: &Tree, limits: &Limits) -> Result<Picture, PictureError> {
    let size = tree.size();
    let scale = SIDE_PX / size.width().max(size.height());
    let pixels = |side: f32| (side * scale).round().clamp(1.0, SIDE_PX) as u32;
    let (width, height) = (pixels(size.width()), pixels(size.height()));
    if u64::from(width) * u64::from(height) > limits.pixels {
        return Err(PictureError::TooLarge {
            pixels: u64::from(width) * u64::from(height),
            most: limits.pixels,
        });
    }
    let mut drawn = Pixmap::new(width, height).ok_or(PictureError::Empty)?;
    resvg::render(
        tree,
        Transform::from_scale(scale, scale),
        &mut drawn.as_mut(),
    );
    if drawn.pixels().iter().all(|pixel| pixel.alpha() == 0) {
        return Err(PictureError::Svg("nothing is drawn in it".to_owned()));
    }
    let samples = drawn.pixels().iter().flat_map(|pixel| {
        let colour = pixel.demultiply();
        [colour.red(), colour.green(), colour.blue(), colour.alpha()]
    });
    Ok(Picture {
        width: width as usize,
        height: height as usize,
        channels: 4,
        samples: Samples::Eight(samples.collect()),
        declared: Declared {
            srgb: true,
            ..Declared::default()
        },
    })
}

/// Refuses what may run, fetch or repeat itself without end.
fn check(document: &Document<'_>) -> Result<(), PictureError> {
    for node in document.descendants() {
        check_node(node)?;
    }
    let mut parts = Parts {
        by_name: named(document),
        known: HashMap::new(),
    };
    let all = parts.of(document.root_element(), 0)?;
    match all > MOST_PARTS {
        true => Err(PictureError::Svg(format!(
            "it has more than {MOST_PARTS} parts; export it as PNG"
        ))),
        false => Ok(()),
    }
}

fn check_node(node: Node<'_, '_>) -> Result<(), PictureError> {
    let name = node.tag_name().name();
    let refused = REFUSED
        .iter()
        .find(|(part, _)| name == *part || (*part == "animate" && name.starts_with(part)));
    if let Some((part, advice)) = refused {
        return Err(PictureError::Svg(format!("it has a '{part}'; {advice}")));
    }
    if node.ancestors().nth(DEEPEST).is_some() {
        return Err(PictureError::Svg(format!(
            "its parts lie more than {DEEPEST} deep in each other; export it as PNG"
        )));
    }
    // Nothing may be fetched: a reference stays within the drawing.
    let elsewhere = node.attributes().find(|attribute| {
        let value = attribute.value().trim();
        let link = attribute.name() == "href" && !value.starts_with('#') && name != "a";
        link || fetches(value)
    });
    let style = name == "style"
        && node
            .text()
            .is_some_and(|css| fetches(css) || css.contains("@import"));
    match elsewhere.is_some() || style {
        true => Err(PictureError::Svg(
            "it refers to another file, which is not fetched; export it as PNG".to_owned(),
        )),
        false => Ok(()),
    }
}

/// Whether a value names something outside the drawing.
fn fetches(value: &str) -> bool {
    let mut from = value;
    while let Some((_, rest)) = from.split_once("url(") {
        let target = rest.trim_start().trim_start_matches(['"', '\'']);
        if !target.trim_start().starts_with('#') {
            return true;
        }
        from = rest;
    }
    false
}

fn named<'a, 'i>(document: &'a Document<'i>) -> HashMap<&'a str, Node<'a, 'i>> {
    let id = |node: Node<'a, 'i>| Some((node.attribute("id")?, node));
    document.descendants().filter_map(id).collect()
}

/// How many parts there are once all that is used is in its place.
struct Parts<'a, 'i> {
    by_name: HashMap<&'a str, Node<'a, 'i>>,
    known: HashMap<NodeId, u64>,
}

impl<'a, 'i> Parts<'a, 'i> {
    fn of(&mut self, node: Node<'a, 'i>, depth: usize) -> Result<u64, PictureError> {
        if let Some(known) = self.known.get(&node.id()) {
            return Ok(*known);
        }
        if depth > 2 * DEEPEST {
            return Err(PictureError::Svg(
                "its parts use each other without end; export it as PNG".to_owned(),
            ));
        }
        let mut all = 1u64;
        for child in node.children().filter(Node::is_element) {
            all = all.saturating_add(self.of(child, depth + 1)?);
        }
        if node.tag_name().name() == "use" {
            let href = node.attributes().find(|a| a.name() == "href");
            let target = href.and_then(|a| a.value().trim().strip_prefix('#'));
            let used = target.and_then(|name| self.by_name.get(name).copied());
            if let Some(used) = used {
                all = all.saturating_add(self.of(used, depth + 1)?);
            }
        }
        self.known.insert(node.id(), all);
        Ok(all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(inner: &str) -> Result<Picture, PictureError> {
        let text = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
                viewBox="0 0 20 10">{inner}</svg>"#
        );
        crate::decode(text.as_bytes(), &Limits::default())
    }

    fn why(inner: &str) -> String {
        read(inner).expect_err("refused").to_string()
    }

    #[test]
    fn a_drawing_is_drawn_on_clear_ground() {
        let picture =
            read(r#"<rect x="5" y="0" width="10" height="10" fill="red"/>"#).expect("a drawing");
        assert_eq!((picture.width(), picture.height()), (2048, 1024));
        assert_eq!(picture.rgba(1024, 512), [1.0, 0.0, 0.0, 1.0]);
        assert_eq!(picture.rgba(10, 512)[3], 0.0);
    }

    #[test]
    fn what_runs_fetches_or_is_not_drawn_is_refused_in_words() {
        assert!(why("<script>1</script>").contains("scripts"));
        assert!(why(r#"<image href="x.png"/>"#).contains("PNG"));
        assert!(why("<text>A</text>").contains("paths"));
        assert!(why(r#"<use xlink:href="other.svg#a"/>"#).contains("another file"));
        assert!(why(r#"<rect style="fill: url( 'http://a/b' )"/>"#).contains("another file"));
        assert!(why("<style>@import 'a.css';</style>").contains("another file"));
        assert!(why("").contains("nothing is drawn"));
        assert!(read("<rect").is_err());
        assert!(
            crate::decode(
                b"<!DOCTYPE svg [<!ENTITY a 'b'>]><svg/>",
                &Limits::default()
            )
            .is_err()
        );
    }

    #[test]
    fn one_that_repeats_itself_is_refused() {
        let doubles: String = (1..40)
            .map(|i| {
                let from = i - 1;
                format!(r##"<g id="n{i}"><use href="#n{from}"/><use href="#n{from}"/></g>"##)
            })
            .collect();
        let why = why(&format!(
            r#"<g id="n0"><rect width="1" height="1"/></g>{doubles}"#
        ));
        assert!(why.contains("parts"), "{why}");
        assert!(read(r##"<g id="a"><use href="#a"/></g>"##).is_err());
        let deep = format!("{}<rect/>{}", "<g>".repeat(100), "</g>".repeat(100));
        assert!(read(&deep).is_err());
    }
}
