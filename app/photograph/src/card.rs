//! The card: what is printed where, in millimetres from the upper left corner of its field.
//!
//! The field is the same on every paper, so a photograph is read without asking which paper it
//! is. Sample and references lie on it; what is printed is only ever paper or ink, for no grey
//! of a home printer can be trusted: its shade hangs on paper, ink, driver and age.

use crate::mark;

/// The field's width, mm.
pub const WIDTH_MM: f64 = 180.0;
/// The field's height, mm.
pub const HEIGHT_MM: f64 = 250.0;
/// The side of a mark, mm.
pub const MARK_MM: f64 = 21.0;
/// Corners of marks on the left, and on the right: where each begins from the top, mm.
const MARKS_Y_MM: [f64; 4] = [0.0, 76.0, 153.0, 229.0];

/// A rectangle on the card, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Left edge, right edge.
    pub x: (f64, f64),
    /// Upper edge, lower edge.
    pub y: (f64, f64),
}

impl Rect {
    /// From its upper left corner and its size.
    pub const fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self {
            x: (x, x + width),
            y: (y, y + height),
        }
    }

    /// About a middle.
    pub const fn about((x, y): (f64, f64), width: f64, height: f64) -> Self {
        Self::new(x - width / 2.0, y - height / 2.0, width, height)
    }

    /// Its middle.
    pub fn centre(&self) -> (f64, f64) {
        ((self.x.0 + self.x.1) / 2.0, (self.y.0 + self.y.1) / 2.0)
    }

    /// Whether a point is inside.
    pub fn holds(&self, x: f64, y: f64) -> bool {
        (self.x.0..self.x.1).contains(&x) && (self.y.0..self.y.1).contains(&y)
    }
}

/// Where the sample lies: on ink with its left half and on paper with its right one, so that
/// whatever its colour one of its sides stands out.
pub const LANE: Rect = Rect::new(68.0, 8.0, 44.0, 241.0);
/// The line that the sample's middle lies along.
pub const LANE_MIDDLE_MM: f64 = 90.0;
/// The line that its foot touches.
pub const FOOT_LINE_MM: f64 = 228.0;

/// Where references of known reflectance lie.
pub const PLACES: [Rect; 3] = [
    Rect::new(28.0, 40.0, 28.0, 28.0),
    Rect::new(28.0, 111.0, 28.0, 28.0),
    Rect::new(28.0, 182.0, 28.0, 28.0),
];
/// What the places are called.
pub const PLACE_NAMES: [&str; 3] = ["A", "B", "C"];
/// The width of a place's stripes, mm: they show that nothing lies there.
pub const STRIPE_MM: f64 = 2.0;

/// The 100 mm scale: its upper end.
pub const SCALE_MM: (f64, f64) = (134.0, 75.0);

/// A mark's square.
pub fn mark(index: usize) -> Rect {
    let y = MARKS_Y_MM.get(index % 4).copied().unwrap_or(0.0);
    let x = if index < 4 { 0.0 } else { WIDTH_MM - MARK_MM };
    Rect::new(x, y, MARK_MM, MARK_MM)
}

/// A mark's corners: upper left, upper right, lower right, lower left.
pub fn mark_corners(index: usize) -> [(f64, f64); 4] {
    let Rect { x, y } = mark(index);
    [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)]
}

/// Where the paper stays blank, in patches of 3 mm; the light is measured there.
pub fn blank() -> impl Iterator<Item = Rect> {
    const COLUMNS_MM: [f64; 6] = [24.5, 62.0, 118.0, 128.0, 146.0, 155.5];
    let rows = (0..=20).map(|i| 5.0 + 12.0 * f64::from(i));
    let columns = rows.flat_map(|y| COLUMNS_MM.map(|x| (x, y)));
    // And between the places for references.
    let between = [9.0, 21.0, 81.0, 96.0, 152.0, 167.0, 222.0, 234.0];
    let between = between.into_iter().flat_map(|y| [(36.0, y), (48.0, y)]);
    columns.chain(between).map(|at| Rect::about(at, 3.0, 3.0))
}

/// Whether a sample on the lane throws no shadow there, however it is lit.
pub fn is_far_from_lane((x, _): (f64, f64)) -> bool {
    x < LANE.x.0 - 16.0 || x > LANE.x.1 + 14.0
}

/// Where there is ink and nothing else, in patches of 1.4 mm: the borders of the marks.
pub fn inked() -> impl Iterator<Item = Rect> {
    (0..mark::NUMBERS.len()).flat_map(|index| {
        let Rect { x, y } = mark(index);
        let half = MARK_MM / mark::CELLS as f64 / 2.0;
        let (middle_x, middle_y) = ((x.0 + x.1) / 2.0, (y.0 + y.1) / 2.0);
        [
            (middle_x, y.0 + half),
            (middle_x, y.1 - half),
            (x.0 + half, middle_y),
            (x.1 - half, middle_y),
        ]
        .map(|at| Rect::about(at, 1.4, 1.4))
    })
}

/// Whether a point in or beside the lane is inked.
pub fn lane_is_inked(x: f64, y: f64) -> bool {
    x < LANE_MIDDLE_MM && LANE.holds(x, y)
}

/// Where on the card a point is, in words.
pub fn place_in_words(x: f64, y: f64) -> &'static str {
    let third = |t: f64| ((3.0 * t) as usize).min(2);
    let names = [
        ["upper left", "top", "upper right"],
        ["left", "middle", "right"],
        ["lower left", "bottom", "lower right"],
    ];
    let row = names.get(third(y / HEIGHT_MM));
    row.and_then(|row| row.get(third(x / WIDTH_MM)))
        .copied()
        .unwrap_or("middle")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blank_patches_keep_clear_of_all_that_is_printed_or_laid() {
        let mut taken: Vec<Rect> = (0..8).map(mark).collect();
        taken.extend(PLACES);
        taken.push(LANE);
        for site in blank() {
            for thing in &taken {
                let apart = |a: (f64, f64), b: (f64, f64)| a.1 + 1.9 <= b.0 || b.1 + 1.9 <= a.0;
                assert!(
                    apart(site.x, thing.x) || apart(site.y, thing.y),
                    "{site:?} {thing:?}"
                );
            }
            assert!(site.y.0 > 0.0 && site.y.1 < HEIGHT_MM);
        }
    }

    #[test]
    fn places_have_names() {
        assert_eq!(place_in_words(1.0, 1.0), "upper left");
        assert_eq!(place_in_words(179.0, 125.0), "right");
    }
}
