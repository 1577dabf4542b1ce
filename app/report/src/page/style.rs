//! The page's few colours and sizes.

use super::ink::Ink;
use super::text::{Style, Weight};

/// Free space at the page's left and right.
pub(crate) const MARGIN: f32 = 56.0;
/// The least height of the block with the views.
pub(crate) const LEAST_MAIN: f32 = 360.0;

/// The paper.
pub(crate) const PAPER: Ink = Ink::opaque(0xfb, 0xfa, 0xf7);
/// Text.
pub(crate) const DARK: Ink = Ink::opaque(0x1f, 0x24, 0x29);
/// Secondary text; 5.7 : 1 on the paper (WCAG 2.2 asks for 4.5 : 1).
pub(crate) const SOFT: Ink = Ink::opaque(0x5c, 0x63, 0x6b);
/// The sign before a warning.
pub(crate) const ALERT: Ink = Ink::opaque(0xb4, 0x53, 0x09);
/// Thin lines.
pub(crate) const LINE: Ink = Ink::opaque(0xd9, 0xd5, 0xcc);
/// Filled shapes that carry no colour of the part.
pub(crate) const FILL: Ink = Ink::opaque(0xd3, 0xcd, 0xc1);
/// The edge of a swatch, so white shows on paper.
pub(crate) const EDGE: Ink = Ink {
    rgba: [0x1f, 0x24, 0x29, 0x38],
};

/// The sheet's name.
pub(crate) const TITLE: Style = Style::new(32.0, Weight::Bold, DARK);
/// The line beneath it.
pub(crate) const SUBTITLE: Style = Style::new(13.5, Weight::Plain, SOFT);
/// Heading of a block.
pub(crate) const HEADING: Style = Style::new(14.0, Weight::Bold, DARK);
/// Names and values.
pub(crate) const BODY: Style = Style::new(12.5, Weight::Plain, DARK);
/// What stands beside or under them.
pub(crate) const NOTE: Style = Style::new(10.5, Weight::Plain, SOFT);
/// Codes and hashes.
pub(crate) const CODE: Style = Style::new(10.0, Weight::Fixed, SOFT);
/// Running text at the foot.
pub(crate) const FOOT: Style = Style::new(10.5, Weight::Plain, DARK);
