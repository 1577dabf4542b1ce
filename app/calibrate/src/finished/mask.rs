//! Which pixels of a picture a part covers.

use photograph::homography::Point;

/// A part of a picture, and whether each of its cells is covered.
#[derive(Clone, Debug)]
pub struct Mask {
    /// Its upper left corner, px.
    from: Point,
    /// A cell's side, px.
    pub cell_px: f64,
    /// Cells across.
    pub width: usize,
    /// Cells down.
    pub height: usize,
    covered: Vec<bool>,
}

/// The largest mask, cells along a side.
const MOST_CELLS: f64 = 1400.0;
/// Room about what is drawn, cells.
const ROOM: f64 = 4.0;

impl Mask {
    /// An empty one for what lies between two corners; cells are no smaller than so many px.
    pub fn around((low, high): (Point, Point), least_px: f64) -> Self {
        let longer = (high.0 - low.0).max(high.1 - low.1).max(1.0);
        let cell_px = least_px.max(longer / MOST_CELLS);
        let from = (low.0 - ROOM * cell_px, low.1 - ROOM * cell_px);
        let count = |from: f64, to: f64| ((to - from) / cell_px + ROOM).ceil().max(1.0) as usize;
        let (width, height) = (count(from.0, high.0), count(from.1, high.1));
        Self {
            from,
            cell_px,
            width,
            height,
            covered: vec![false; width * height],
        }
    }

    /// Covers a triangle.
    pub fn cover(&mut self, corners: [Point; 3]) {
        let cell = |(x, y): Point| {
            (
                (x - self.from.0) / self.cell_px - 0.5,
                (y - self.from.1) / self.cell_px - 0.5,
            )
        };
        let [a, b, c] = corners.map(cell);
        let area = (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
        if area.abs() < 1e-12 {
            return;
        }
        let span = |a: f64, b: f64, c: f64, most: usize| {
            let low = a.min(b).min(c).ceil().max(0.0) as usize;
            let high = (a.max(b).max(c).floor() + 1.0).clamp(0.0, most as f64) as usize;
            low..high
        };
        let rows = span(a.1, b.1, c.1, self.height);
        let columns = span(a.0, b.0, c.0, self.width);
        for row in rows {
            let y = row as f64;
            for column in columns.clone() {
                let x = column as f64;
                let second = ((x - a.0) * (c.1 - a.1) - (y - a.1) * (c.0 - a.0)) / area;
                let third = ((b.0 - a.0) * (y - a.1) - (b.1 - a.1) * (x - a.0)) / area;
                // Neighbours share their edge, and leave no cell between them.
                let inside = second > -1e-9 && third > -1e-9 && second + third < 1.0 + 1e-9;
                if inside && let Some(cell) = self.covered.get_mut(row * self.width + column) {
                    *cell = true;
                }
            }
        }
    }

    /// Whether the cell at a point of the picture is covered.
    pub fn covers(&self, (x, y): Point) -> bool {
        let column = ((x - self.from.0) / self.cell_px).floor();
        let row = ((y - self.from.1) / self.cell_px).floor();
        let inside =
            column >= 0.0 && row >= 0.0 && column < self.width as f64 && row < self.height as f64;
        inside && self.cell(column as usize, row as usize)
    }

    /// The area that is covered by one of two masks alone, as a share of that of this one; the
    /// other is moved so that their middles meet.
    pub fn unlike(&self, other: &Self) -> f64 {
        let middle = |mask: &Self| {
            let (mut x, mut y, mut count) = (0.0, 0.0, 0.0);
            for (i, covered) in mask.covered.iter().enumerate() {
                if *covered {
                    x += (i % mask.width) as f64;
                    y += (i / mask.width) as f64;
                    count += 1.0;
                }
            }
            (x / f64::max(count, 1.0), y / f64::max(count, 1.0), count)
        };
        let (one, two) = (middle(self), middle(other));
        let (by_x, by_y) = (
            (two.0 - one.0).round() as i64,
            (two.1 - one.1).round() as i64,
        );
        let mut both = 0.0;
        for (i, covered) in self.covered.iter().enumerate() {
            let (x, y) = (
                (i % self.width) as i64 + by_x,
                (i / self.width) as i64 + by_y,
            );
            let there = x >= 0 && y >= 0 && other.cell(x as usize, y as usize);
            both += f64::from(u8::from(*covered && there));
        }
        (one.2 + two.2 - 2.0 * both) / f64::max(one.2, 1.0)
    }

    fn cell(&self, column: usize, row: usize) -> bool {
        let there = column < self.width && row < self.height;
        there && self.covered.get(row * self.width + column) == Some(&true)
    }

    /// Which way leads away from what is covered within so many cells, of length 1; none where
    /// nothing is, or as much on all sides.
    pub fn out(&self, (x, y): Point, cells: i64) -> Option<Point> {
        let column = ((x - self.from.0) / self.cell_px).floor() as i64;
        let row = ((y - self.from.1) / self.cell_px).floor() as i64;
        let (mut x, mut y) = (0.0, 0.0);
        for dy in -cells..=cells {
            for dx in -cells..=cells {
                let (column, row) = (column + dx, row + dy);
                let inside = column >= 0 && row >= 0 && dx * dx + dy * dy <= cells * cells + 1;
                if inside && self.cell(column as usize, row as usize) {
                    (x, y) = (x - dx as f64, y - dy as f64);
                }
            }
        }
        let length = f64::hypot(x, y);
        (length > 1e-9).then(|| (x / length, y / length))
    }

    /// The middles of the covered cells at its border, and which way is out, for every so many.
    pub fn border(&self, most: usize) -> Vec<(Point, Point)> {
        let covered = |column: i64, row: i64| {
            column >= 0 && row >= 0 && self.cell(column as usize, row as usize)
        };
        let mut found = Vec::new();
        for row in 0..self.height as i64 {
            for column in 0..self.width as i64 {
                let around = [(1, 0), (-1, 0), (0, 1), (0, -1)];
                let is_border = covered(column, row)
                    && around.iter().any(|(x, y)| !covered(column + x, row + y));
                if !is_border {
                    continue;
                }
                let at = (
                    self.from.0 + self.cell_px * (column as f64 + 0.5),
                    self.from.1 + self.cell_px * (row as f64 + 0.5),
                );
                found.extend(self.out(at, 2).map(|out| (at, out)));
            }
        }
        let every = found.len().div_ceil(most.max(1)).max(1);
        found.into_iter().step_by(every).collect()
    }
}

/// The box around points.
pub fn bounds(points: impl Iterator<Item = Point>) -> Option<(Point, Point)> {
    let none = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
    let (low, high) = points.fold(none, |(low, high), p| {
        (
            (low.0.min(p.0), low.1.min(p.1)),
            (high.0.max(p.0), high.1.max(p.1)),
        )
    });
    (low.0 <= high.0).then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn triangles_that_share_an_edge_leave_no_gap() {
        let mut mask = Mask::around(((0.0, 0.0), (40.0, 30.0)), 1.0);
        mask.cover([(0.0, 0.0), (40.0, 0.0), (40.0, 30.0)]);
        mask.cover([(0.0, 0.0), (40.0, 30.0), (0.0, 30.0)]);
        for y in 0..30 {
            for x in 0..40 {
                assert!(
                    mask.covers((f64::from(x) + 0.5, f64::from(y) + 0.5)),
                    "{x} {y}"
                );
            }
        }
        assert!(!mask.covers((41.5, 10.0)) && !mask.covers((10.0, -1.5)));
        let border = mask.border(1000);
        assert_eq!(border.len(), 2 * (40 + 30) - 4);
        let top = border
            .iter()
            .find(|(at, _)| at.1 < 1.0 && (at.0 - 20.5).abs() < 0.6);
        assert_eq!(top.unwrap().1, (0.0, -1.0));
    }
}
