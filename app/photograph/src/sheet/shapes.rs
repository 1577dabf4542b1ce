//! What is drawn on the page that carries the card.

use crate::card::{self, Rect};
use crate::mark::{self, BITS, CELLS};

/// A sheet of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    A4,
    /// 8.5 × 11 inches (ANSI/ASME Y14.1).
    Letter,
}

impl Paper {
    /// Width and height, mm.
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// What is drawn, mm from the paper's upper left corner; all of it in ink.
pub(super) enum Shape {
    Filled(Rect),
    /// From where it begins on its base line.
    Text {
        at: (f64, f64),
        size_mm: f64,
        words: &'static str,
    },
}

pub(super) const TITLE: &str = "Tintfall photograph card";
const PRINT: &str =
    "Print at 100 %, in black, on white matt paper. The scale must measure 100 mm. Lay it flat.";
const LAY: &str = "Lay the sample on the black and white lane: its face up, its foot on the line below, its middle between black and white.";
const REFERENCE: &str = "Lay references of known reflectance on A, B and C: grey cards, or a measured white bar. Printed grey is none.";
const LIGHT: &str = "Light from two sides. Take the picture from above, the whole card in view, the paper bright but not white.";

/// All shapes of the card on some paper.
pub(super) fn shapes(paper: Paper) -> Vec<Shape> {
    let (width, height) = paper.size_mm();
    let (left, top) = (
        (width - card::WIDTH_MM) / 2.0,
        (height - card::HEIGHT_MM) / 2.0,
    );
    let mut shapes = Vec::new();
    let mut fill = |rect: Rect| {
        shapes.push(Shape::Filled(Rect {
            x: (rect.x.0 + left, rect.x.1 + left),
            y: (rect.y.0 + top, rect.y.1 + top),
        }));
    };
    for index in 0..mark::NUMBERS.len() {
        draw_mark(index, &mut fill);
    }
    let lane = card::LANE;
    fill(Rect {
        x: (lane.x.0, card::LANE_MIDDLE_MM),
        y: lane.y,
    });
    // Where the foot stands: short lines on both sides, clear of what is measured.
    for x in [(63.5, 67.0), (113.0, 116.0)] {
        let y = (card::FOOT_LINE_MM, card::FOOT_LINE_MM + 0.4);
        fill(Rect { x, y });
    }
    for place in card::PLACES {
        draw_place(place, &mut fill);
    }
    let (x, y) = card::SCALE_MM;
    fill(Rect::new(x, y, 0.3, 100.0));
    for i in 0..=20 {
        let length = if i % 2 == 0 { 5.0 } else { 3.0 };
        fill(Rect::about(
            (x + length / 2.0, y + 5.0 * f64::from(i)),
            length,
            0.3,
        ));
    }
    let mut write = |x: f64, y: f64, size_mm: f64, words: &'static str| {
        shapes.push(Shape::Text {
            at: (x, y),
            size_mm,
            words,
        });
    };
    for (place, name) in card::PLACES.iter().zip(card::PLACE_NAMES) {
        write(left + place.x.0, top + place.y.0 - 2.5, 4.0, name);
    }
    write(left + x - 1.0, top + y - 2.0, 3.0, "100 mm");
    write(left + 121.0, top + card::FOOT_LINE_MM + 1.0, 3.0, "foot");
    write(left, top - 4.0, 4.0, TITLE);
    for (i, words) in [PRINT, LAY, REFERENCE, LIGHT].into_iter().enumerate() {
        write(
            left,
            top + card::HEIGHT_MM + 4.0 + 2.9 * i as f64,
            2.4,
            words,
        );
    }
    shapes
}

/// Black cells, a run of them in a row as one rectangle.
fn draw_mark(index: usize, fill: &mut impl FnMut(Rect)) {
    let square = card::mark(index);
    let bits = mark::bits(mark::NUMBERS.get(index).copied().unwrap_or(0));
    let cell = card::MARK_MM / CELLS as f64;
    for row in 0..CELLS {
        let mut from = None;
        for column in 0..=CELLS {
            let inside = |i: usize| (1..=BITS).contains(&i);
            let white = column == CELLS
                || (inside(row) && inside(column) && mark::is_white(bits, row - 1, column - 1));
            match (white, from) {
                (false, None) => from = Some(column),
                (true, Some(first)) => {
                    let (x, y) = (first as f64 * cell, row as f64 * cell);
                    let width = (column - first) as f64 * cell;
                    fill(Rect::new(square.x.0 + x, square.y.0 + y, width, cell));
                    from = None;
                }
                _ => {}
            }
        }
    }
}

/// A frame, and stripes that whatever lies there covers.
fn draw_place(place: Rect, fill: &mut impl FnMut(Rect)) {
    let stripes = ((place.x.1 - place.x.0) / card::STRIPE_MM / 2.0) as usize;
    for i in 0..stripes {
        let x = place.x.0 + 2.0 * card::STRIPE_MM * (i as f64 + 0.25);
        fill(Rect {
            x: (x, x + card::STRIPE_MM),
            y: place.y,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_is_on_the_paper() {
        for paper in [Paper::A4, Paper::Letter] {
            let (width, height) = paper.size_mm();
            for shape in shapes(paper) {
                let (x, y) = match shape {
                    Shape::Filled(Rect { x, y }) => (x, y),
                    // A letter is about half as wide as it is high.
                    Shape::Text { at, size_mm, words } => (
                        (at.0, at.0 + 0.5 * size_mm * words.len() as f64),
                        (at.1 - size_mm, at.1),
                    ),
                };
                assert!(x.0 >= 5.0 && x.1 <= width - 5.0, "{x:?}");
                assert!(y.0 >= 3.0 && y.1 <= height - 1.0, "{y:?}");
            }
        }
    }
}
