//! Setting text: measuring, shortening, wrapping, and outlines to fill.
//!
//! The typefaces come with `epaint_default_fonts`; docs/third-party.md names their licences.
//! There is one weight of the text face; the bolder ones are made by drawing round the
//! outline as well as filling it.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, GlyphId, OutlineCurve};
use tiny_skia::{Path, PathBuilder};

use super::ink::Ink;

/// Which face, and how strong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weight {
    /// Text.
    Plain,
    /// Headings.
    Bold,
    /// Every letter equally wide: codes and hashes.
    Fixed,
}

/// How a text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Style {
    /// Size of the em in page units.
    pub size: f32,
    /// Face and strength.
    pub weight: Weight,
    /// Colour.
    pub ink: Ink,
}

impl Style {
    /// Joins the parts.
    pub(crate) const fn new(size: f32, weight: Weight, ink: Ink) -> Self {
        Self { size, weight, ink }
    }

    /// Width of the line drawn round each letter, in page units.
    pub(crate) fn round(&self) -> f32 {
        match self.weight {
            Weight::Plain => self.size * 0.018,
            Weight::Bold => self.size * 0.058,
            Weight::Fixed => 0.0,
        }
    }
}

/// Faces in the order in which they are asked for a letter.
struct Faces {
    text: Vec<FontRef<'static>>,
    fixed: Vec<FontRef<'static>>,
}

static FACES: LazyLock<Faces> = LazyLock::new(|| {
    use epaint_default_fonts::{HACK_REGULAR, NOTO_EMOJI_REGULAR, UBUNTU_LIGHT};
    let load = |files: [&'static [u8]; 3]| {
        files
            .into_iter()
            .filter_map(|file| FontRef::try_from_slice(file).ok())
            .collect()
    };
    Faces {
        text: load([UBUNTU_LIGHT, HACK_REGULAR, NOTO_EMOJI_REGULAR]),
        fixed: load([HACK_REGULAR, UBUNTU_LIGHT, NOTO_EMOJI_REGULAR]),
    }
});

/// One letter set: face, glyph, where it begins, and units of the face to page units.
struct Letter {
    face: &'static FontRef<'static>,
    glyph: GlyphId,
    x: f32,
    scale: f32,
}

/// Sets a line; gives its letters and its width.
fn set(text: &str, style: &Style) -> (Vec<Letter>, f32) {
    let faces = match style.weight {
        Weight::Plain | Weight::Bold => &FACES.text,
        Weight::Fixed => &FACES.fixed,
    };
    let mut letters: Vec<Letter> = Vec::new();
    let mut x = 0.0;
    for character in text.chars().map(printable) {
        let has = |face: &&FontRef<'static>| face.glyph_id(character) != GlyphId(0);
        let Some(face) = faces.iter().find(has).or(faces.first()) else {
            continue;
        };
        let glyph = face.glyph_id(character);
        let scale = style.size / face.units_per_em().unwrap_or(1000.0);
        if let Some(last) = letters.last()
            && std::ptr::eq(last.face, face)
        {
            x += face.kern_unscaled(last.glyph, glyph) * scale;
        }
        letters.push(Letter {
            face,
            glyph,
            x,
            scale,
        });
        x += face.h_advance_unscaled(glyph) * scale;
    }
    (letters, x)
}

/// Control characters and breaks would be drawn as boxes.
fn printable(character: char) -> char {
    if character.is_control() {
        ' '
    } else {
        character
    }
}

/// Width of a line in page units.
pub(crate) fn width(text: &str, style: &Style) -> f32 {
    set(text, style).1
}

/// A line shortened with an ellipsis to fit a width; empty when not even that fits.
pub(crate) fn fitted(text: &str, style: &Style, room: f32) -> String {
    if width(text, style) <= room {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().collect();
    let short = |count: usize| {
        let kept: String = letters.iter().take(count).collect();
        format!("{}…", kept.trim_end())
    };
    let mut count = letters.len();
    while count > 0 && width(&short(count), style) > room {
        count -= 1;
    }
    let best = short(count);
    match width(&best, style) <= room {
        true => best,
        false => String::new(),
    }
}

/// A text broken at its spaces into lines of a width; a word too long is shortened.
pub(crate) fn wrapped(text: &str, style: &Style, room: f32) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = match line.is_empty() {
            true => word.to_owned(),
            false => format!("{line} {word}"),
        };
        if width(&longer, style) <= room || line.is_empty() {
            line = longer;
        } else {
            lines.push(std::mem::replace(&mut line, word.to_owned()));
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines.iter().map(|line| fitted(line, style, room)).collect()
}

/// Outlines of a line with its baseline beginning at a point; `None` when nothing shows.
pub(crate) fn outline(text: &str, style: &Style, (x, y): (f32, f32)) -> Option<Path> {
    let mut path = PathBuilder::new();
    for letter in set(text, style).0 {
        let Some(outline) = letter.face.outline(letter.glyph) else {
            continue;
        };
        let place =
            |p: ab_glyph::Point| (x + letter.x + p.x * letter.scale, y - p.y * letter.scale);
        add(&mut path, &outline.curves, place);
    }
    path.finish()
}

/// Joins curves to closed contours.
fn add(
    path: &mut PathBuilder,
    curves: &[OutlineCurve],
    place: impl Fn(ab_glyph::Point) -> (f32, f32),
) {
    let mut at: Option<ab_glyph::Point> = None;
    let mut begin = |path: &mut PathBuilder, from: ab_glyph::Point, to: ab_glyph::Point| {
        if at != Some(from) {
            if at.is_some() {
                path.close();
            }
            let (x, y) = place(from);
            path.move_to(x, y);
        }
        at = Some(to);
    };
    for curve in curves {
        match *curve {
            OutlineCurve::Line(from, to) => {
                begin(path, from, to);
                let to = place(to);
                path.line_to(to.0, to.1);
            }
            OutlineCurve::Quad(from, one, to) => {
                begin(path, from, to);
                let (one, to) = (place(one), place(to));
                path.quad_to(one.0, one.1, to.0, to.1);
            }
            OutlineCurve::Cubic(from, one, two, to) => {
                begin(path, from, to);
                let (one, two, to) = (place(one), place(two), place(to));
                path.cubic_to(one.0, one.1, two.0, two.1, to.0, to.1);
            }
        }
    }
    if at.is_some() {
        path.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::style;

    #[test]
    fn shortening_keeps_the_room_and_short_text() {
        let name = "Railing of the upper gallery, seaward side";
        let short = fitted(name, &style::BODY, 120.0);
        assert!(short.ends_with('…') && short.len() > 8, "{short}");
        assert!(width(&short, &style::BODY) <= 120.0);
        assert_eq!(fitted("Door", &style::BODY, 120.0), "Door");
        assert_eq!(fitted("Door", &style::BODY, 1.0), "");
    }

    #[test]
    fn wrapping_keeps_every_word() {
        let text = "The hotend and the bed stay hot after a print; let them cool.";
        let lines = wrapped(text, &style::FOOT, 90.0);
        assert!(lines.len() > 2);
        assert_eq!(lines.join(" "), text);
        for line in lines {
            assert!(width(&line, &style::FOOT) <= 90.0);
        }
    }

    #[test]
    fn strange_letters_are_set_somehow() {
        assert!(width("Ωå→±ΔE₀₀ 灯台 ⚓ \u{7}", &style::BODY) > 30.0);
        assert!(outline("灯台", &style::BODY, (0.0, 0.0)).is_some());
    }
}
