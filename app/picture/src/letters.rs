//! A line of text as a picture of its letters.

use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};

/// Pixels in the height of a capital letter: at 10 mm a pixel is 0.1 mm, and edges are found to a
/// small part of one.
const CAPITAL_PX: f32 = 96.0;

/// Room about the line, as a share of that height, for letters that are made bolder.
const ROOM: f32 = 0.25;

/// No letter is this many capital letters wide or high; one that is comes from a broken font.
const MOST_OF_A_LETTER: f32 = 20.0;

/// The most pixels of a line.
const MOST_PIXELS: usize = 16 << 20;

/// A line in black on white. Its middle is half-way along the line, and half-way up its capital
/// letters.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Pixels in a row, and rows.
    pub size: (usize, usize),
    /// Greys at pixels, 0 black to 255 white, rows from the top.
    pub greys: Vec<u8>,
    /// The height of a capital letter, pixels.
    pub capital_px: f64,
}

/// Why a line can't be set: a clause that goes on from the font's name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// It is no font.
    #[error("is not a font that can be read; use a TTF or OTF file")]
    NoFont,
    /// The font lacks a letter.
    #[error("has no letter '{0}'; use another font, or leave the letter out")]
    NoLetter(char),
    /// Nothing would be seen.
    #[error("shows nothing for this text; write letters that can be seen")]
    Nothing,
    /// The line is too long, or the font is broken.
    #[error("has letters too large or too many for one line; use fewer letters or another font")]
    TooLarge,
}

/// The font that comes with the program: Ubuntu Light, embedded unchanged by
/// `epaint_default_fonts` (Ubuntu Font Licence 1.0).
pub fn own_font() -> &'static [u8] {
    epaint_default_fonts::UBUNTU_LIGHT
}

/// Sets a line of text in a font, TTF or OTF, from the bytes of its file.
///
/// # Errors
/// [`LineError`].
///
/// ```
/// let line = picture::set_line("Quay 3", picture::own_font())?;
/// let (width, height) = line.size;
/// assert_eq!(line.greys.len(), width * height);
/// # Ok::<(), picture::LineError>(())
/// ```
pub fn set_line(text: &str, font: &[u8]) -> Result<Line, LineError> {
    let font = FontRef::try_from_slice(font).map_err(|_| LineError::NoFont)?;
    let scale = capital_scale(&font)?;
    let face = font.as_scaled(scale);
    let mut letters: Vec<Glyph> = Vec::new();
    let mut along = 0.0;
    for letter in text.chars() {
        let id = font.glyph_id(letter);
        if id.0 == 0 {
            return Err(LineError::NoLetter(letter));
        }
        if let Some(before) = letters.last() {
            along += face.kern(before.id, id);
        }
        letters.push(id.with_scale_and_position(scale, point(along, 0.0)));
        along += face.h_advance(id);
    }
    let outlines: Vec<_> = letters
        .into_iter()
        .filter_map(|letter| font.outline_glyph(letter))
        .collect();
    let most = MOST_OF_A_LETTER * CAPITAL_PX;
    let (mut left, mut right, mut high) = (f32::INFINITY, f32::NEG_INFINITY, CAPITAL_PX);
    for outline in &outlines {
        let bounds = outline.px_bounds();
        let sane = bounds.width() <= most && bounds.height() <= most && bounds.min.x.is_finite();
        if !sane {
            return Err(LineError::TooLarge);
        }
        (left, right) = (left.min(bounds.min.x), right.max(bounds.max.x));
        // As far above the middle of the capitals as below.
        let middle = -0.5 * CAPITAL_PX;
        high = high
            .max(2.0 * (middle - bounds.min.y))
            .max(2.0 * (bounds.max.y - middle));
    }
    if left >= right {
        return Err(LineError::Nothing);
    }
    let room = ROOM * CAPITAL_PX;
    let width = (right - left + 2.0 * room).ceil() as usize;
    let height = 2 * ((0.5 * high + room).ceil() as usize);
    if width.saturating_mul(height) > MOST_PIXELS {
        return Err(LineError::TooLarge);
    }
    let mut ink = vec![0.0f32; width * height];
    // Bounds are whole pixels, and so is the baseline: half a capital below the middle.
    let baseline = height as f32 * 0.5 + (0.5 * CAPITAL_PX).round();
    for outline in outlines {
        let bounds = outline.px_bounds();
        let from_left = (bounds.min.x - left + room).round() as usize;
        let from_top = (bounds.min.y + baseline).round().max(0.0) as usize;
        outline.draw(|x, y, cover| {
            let (x, y) = (from_left + x as usize, from_top + y as usize);
            if x < width
                && let Some(ink) = ink.get_mut(y * width + x)
            {
                *ink = (*ink + cover).min(1.0);
            }
        });
    }
    let grey = |ink: f32| (255.0 * (1.0 - ink.max(0.0))).round() as u8;
    Ok(Line {
        size: (width, height),
        greys: ink.into_iter().map(grey).collect(),
        capital_px: f64::from(CAPITAL_PX),
    })
}

/// The scale at which a capital letter is as high as it should be.
fn capital_scale(font: &FontRef<'_>) -> Result<PxScale, LineError> {
    const TRIAL: f32 = 1000.0;
    let height = ['H', 'E', 'I', 'X'].into_iter().find_map(|letter| {
        let glyph = font.glyph_id(letter).with_scale(PxScale::from(TRIAL));
        let outline = font.outline(glyph.id)?;
        let units = font.height_unscaled();
        (units > 0.0).then(|| (outline.bounds.max.y - outline.bounds.min.y).abs() * TRIAL / units)
    });
    let ascent = || font.ascent_unscaled() * TRIAL / font.height_unscaled();
    let height = height.unwrap_or_else(ascent);
    let scale = TRIAL * CAPITAL_PX / height;
    // A font whose capitals are next to nothing would make every letter huge.
    match height.is_finite() && (TRIAL / 50.0..TRIAL * 4.0).contains(&height) {
        true => Ok(PxScale::from(scale)),
        false => Err(LineError::NoFont),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dark(line: &Line) -> impl Iterator<Item = (usize, usize)> + '_ {
        let at = |(i, _): (usize, &u8)| (i % line.size.0, i / line.size.0);
        line.greys
            .iter()
            .enumerate()
            .filter(|(_, g)| **g < 128)
            .map(at)
    }

    #[test]
    fn a_capital_is_as_high_as_is_said_and_in_the_middle() {
        let line = set_line("H", own_font()).unwrap();
        let rows = || dark(&line).map(|(_, y)| y);
        let (top, bottom) = (rows().min().unwrap(), rows().max().unwrap() + 1);
        assert!((bottom as f64 - top as f64 - line.capital_px).abs() <= 1.0);
        assert!((top + bottom).abs_diff(line.size.1) <= 2);
        let columns = || dark(&line).map(|(x, _)| x);
        let (left, right) = (columns().min().unwrap(), columns().max().unwrap() + 1);
        assert!((left + right).abs_diff(line.size.0) <= 2);
    }

    #[test]
    fn letters_below_the_line_keep_their_tails() {
        let (plain, tailed) = (set_line("nn", own_font()), set_line("gj", own_font()));
        let lowest = |line: Line| {
            dark(&line)
                .map(|(_, y)| 2 * y as i64 - line.size.1 as i64)
                .max()
        };
        assert!(lowest(plain.unwrap()) < lowest(tailed.unwrap()));
    }

    #[test]
    fn what_can_t_be_set_is_told() {
        assert_eq!(set_line("H", b"no font"), Err(LineError::NoFont));
        assert_eq!(
            set_line("\u{10fffd}", own_font()),
            Err(LineError::NoLetter('\u{10fffd}'))
        );
        assert_eq!(set_line("   ", own_font()), Err(LineError::Nothing));
        let many = "W".repeat(4000);
        assert_eq!(set_line(&many, own_font()), Err(LineError::TooLarge));
    }
}
