//! An outline as level rows: where each row is inside.

use glam::DVec2;

use super::Contour;

/// A stretch of a row that is inside, from its lesser to its greater x, mm.
pub type Stretch = (f64, f64);

/// Level rows at even distances, the same for every outline that is laid on them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RowGrid {
    /// The y of the first row, mm.
    pub first_y_mm: f64,
    /// From one row to the next, mm.
    pub apart_mm: f64,
    /// How many there are.
    pub count: usize,
}

impl RowGrid {
    /// Rows across all of some contours, about `apart_mm` from each other, no fewer than
    /// `fewest` and no more than `most`; without rows where there is nothing to cross.
    pub fn across<'a>(
        contours: impl Iterator<Item = &'a Contour>,
        apart_mm: f64,
        fewest: usize,
        most: usize,
    ) -> Self {
        let ys = contours.flat_map(|c| c.points_mm.iter().map(|p| p.y));
        let (low, high) = ys.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), y| {
            (lo.min(y), hi.max(y))
        });
        let extent = high - low;
        if !(extent > 0.0 && extent.is_finite() && apart_mm > 0.0) {
            return Self {
                first_y_mm: 0.0,
                apart_mm: apart_mm.max(f64::MIN_POSITIVE),
                count: 0,
            };
        }
        let count = ((extent / apart_mm).ceil() as usize).clamp(fewest.max(1), most.max(1));
        let apart_mm = extent / count as f64;
        Self {
            first_y_mm: low + 0.5 * apart_mm,
            apart_mm,
            count,
        }
    }

    /// The y of a row, mm.
    pub fn y_mm(&self, row: usize) -> f64 {
        self.first_y_mm + self.apart_mm * row as f64
    }
}

/// An outline on rows: of each the stretches inside, from left to right, apart from each other.
///
/// Inside is where the winding number is not 0. A crossing without its counterpart, from an
/// open mesh, is left out.
///
/// ```
/// use geometry::layers::{RowGrid, Rows, slice};
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// let block = geometry::solids::cuboid(geometry::DVec3::new(20.0, 10.0, 5.0))?;
/// let contours = slice(&block, 2.0).contours;
/// let grid = RowGrid::across(contours.iter(), 0.5, 1, 1000);
/// let rows = Rows::new(&contours, grid);
/// assert_eq!(grid.count, 20);
/// assert!((rows.area_mm2() - 200.0).abs() < 1e-9);
/// // Farther than 1 mm from the edge: 18 × 8.
/// assert!((rows.inset(1.0).area_mm2() - 144.0).abs() < 1e-9);
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Rows {
    grid: RowGrid,
    rows: Vec<Vec<Stretch>>,
}

impl Rows {
    /// Lays contours on rows.
    pub fn new(contours: &[Contour], grid: RowGrid) -> Self {
        let mut crossings: Vec<Vec<(f64, i32)>> = vec![Vec::new(); grid.count];
        for contour in contours {
            let points = &contour.points_mm;
            let next = points.iter().skip(1).chain(points.first());
            for (a, b) in points.iter().zip(next) {
                cross(&grid, &mut crossings, *a, *b);
            }
        }
        let rows = crossings.into_iter().map(stretches).collect();
        Self { grid, rows }
    }

    /// The rows: y and the stretches inside, mm.
    pub fn iter(&self) -> impl Iterator<Item = (f64, &[Stretch])> {
        let rows = self.rows.iter().enumerate();
        rows.map(|(i, row)| (self.grid.y_mm(i), row.as_slice()))
    }

    /// The distance of the rows, mm.
    pub fn apart_mm(&self) -> f64 {
        self.grid.apart_mm
    }

    /// Area inside, mm².
    pub fn area_mm2(&self) -> f64 {
        let lengths = self.rows.iter().flatten().map(|(from, to)| to - from);
        lengths.sum::<f64>() * self.grid.apart_mm
    }

    /// What is farther than `by_mm` from the edge: an erosion by a disk (J. Serra, *Image
    /// Analysis and Mathematical Morphology*, 1982, from memory), exact along rows and to half
    /// a row across them. It is what every row within the disk's reach leaves when the chord
    /// of the disk at its distance is taken off each end.
    pub fn inset(&self, by_mm: f64) -> Self {
        let reach = (by_mm / self.grid.apart_mm + 0.5).floor().max(0.0) as usize;
        let half_chord = |rows: usize| {
            let across = (rows as f64 - 0.5).max(0.0) * self.grid.apart_mm;
            (by_mm * by_mm - across * across).max(0.0).sqrt()
        };
        let eroded = |row: usize| -> Vec<Stretch> {
            let mut left = shortened(self.rows.get(row), by_mm.max(0.0));
            for step in 1..=reach {
                let below = row.checked_sub(step).and_then(|r| self.rows.get(r));
                let by = half_chord(step);
                left = common(&left, &shortened(below, by));
                left = common(&left, &shortened(self.rows.get(row + step), by));
            }
            left
        };
        Self {
            grid: self.grid,
            rows: (0..self.rows.len()).map(eroded).collect(),
        }
    }

    /// Keeps what is inside of another outline on the same rows too.
    pub(crate) fn keep_common(&mut self, other: &Self) {
        for (i, row) in self.rows.iter_mut().enumerate() {
            if !row.is_empty() {
                *row = other.rows.get(i).map_or(Vec::new(), |o| common(row, o));
            }
        }
    }
}

/// Notes where a side of an outline crosses rows; its lower end belongs to it.
fn cross(grid: &RowGrid, crossings: &mut [Vec<(f64, i32)>], a: DVec2, b: DVec2) {
    let (low, high, turn) = if a.y < b.y { (a, b, 1) } else { (b, a, -1) };
    if low.y == high.y {
        return;
    }
    let row = |y: f64| ((y - grid.first_y_mm) / grid.apart_mm).ceil().max(0.0) as usize;
    let (first, last) = (row(low.y), row(high.y).min(crossings.len()));
    for (i, row) in crossings.iter_mut().enumerate().take(last).skip(first) {
        let t = (grid.y_mm(i) - low.y) / (high.y - low.y);
        row.push((low.x + (high.x - low.x) * t, turn));
    }
}

/// The stretches between crossings where the winding number is not 0.
fn stretches(mut row: Vec<(f64, i32)>) -> Vec<Stretch> {
    row.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut found: Vec<Stretch> = Vec::new();
    let mut winding = 0;
    for pair in row.windows(2) {
        winding += pair[0].1;
        let (from, to) = (pair[0].0, pair[1].0);
        if winding == 0 || to <= from {
            continue;
        }
        match found.last_mut() {
            Some(before) if before.1 == from => before.1 = to,
            _ => found.push((from, to)),
        }
    }
    found
}

fn shortened(row: Option<&Vec<Stretch>>, by: f64) -> Vec<Stretch> {
    let stretches = row.into_iter().flatten();
    stretches
        .map(|(from, to)| (from + by, to - by))
        .filter(|(from, to)| to > from)
        .collect()
}

/// What is in a stretch of both.
fn common(a: &[Stretch], b: &[Stretch]) -> Vec<Stretch> {
    let (mut i, mut j) = (0, 0);
    let mut found = Vec::new();
    while let (Some(p), Some(q)) = (a.get(i), b.get(j)) {
        let (from, to) = (p.0.max(q.0), p.1.min(q.1));
        if to > from {
            found.push((from, to));
        }
        if p.1 < q.1 {
            i += 1;
        } else {
            j += 1;
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(radius: f64, sides: u32) -> Contour {
        let at = |i| std::f64::consts::TAU * f64::from(i) / f64::from(sides);
        Contour {
            points_mm: (0..sides)
                .map(|i| DVec2::from_angle(at(i)) * radius)
                .collect(),
            closed: true,
        }
    }

    /// Steiner's formula for a disk: what is left of radius R is a disk of radius R − d.
    #[test]
    fn a_disk_set_in_is_a_smaller_disk() {
        let contours = [ring(10.0, 720)];
        for apart in [0.05, 0.2, 0.4] {
            let grid = RowGrid::across(contours.iter(), apart, 1, 10_000);
            let rows = Rows::new(&contours, grid);
            for by in [0.0, 0.3, 1.0, 1.35, 4.0] {
                let left = std::f64::consts::PI * (10.0f64 - by).powi(2);
                let off = rows.inset(by).area_mm2() / left - 1.0;
                assert!(off.abs() < 0.03 * apart / 0.2, "{apart} {by}: {off}");
            }
            assert_eq!(rows.inset(11.0).area_mm2(), 0.0);
        }
    }

    #[test]
    fn two_that_overlap_count_once_and_a_hole_does_not() {
        let mut hole = ring(3.0, 360);
        hole.points_mm.reverse();
        let mut other = ring(10.0, 360);
        other.points_mm.iter_mut().for_each(|p| p.x += 4.0);
        let contours = [ring(10.0, 360), other];
        let grid = RowGrid::across(contours.iter(), 0.05, 1, 10_000);
        // Two equal disks whose centres are d apart: 2R² acos(d/2R) − d/2 √(4R² − d²) in both.
        let both = 2.0 * 100.0 * (0.2f64).acos() - 2.0 * (400.0f64 - 16.0).sqrt();
        let union = 200.0 * std::f64::consts::PI - both;
        let found = Rows::new(&contours, grid).area_mm2();
        assert!((found / union - 1.0).abs() < 1e-3, "{found} {union}");
        let holed = Rows::new(&[ring(10.0, 360), hole], grid).area_mm2();
        assert!((holed / (91.0 * std::f64::consts::PI) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn what_is_common_is_in_both() {
        let a = [(0.0, 4.0), (6.0, 9.0)];
        let b = [(1.0, 2.0), (3.0, 7.0), (8.0, 12.0)];
        let both = [(1.0, 2.0), (3.0, 4.0), (6.0, 7.0), (8.0, 9.0)];
        assert_eq!(common(&a, &b), both);
        assert_eq!(common(&b, &a), both);
        assert!(common(&a, &[]).is_empty());
    }

    #[test]
    fn nothing_has_no_rows() {
        let grid = RowGrid::across([].iter(), 0.5, 8, 100);
        assert_eq!(grid.count, 0);
        assert_eq!(Rows::new(&[], grid).inset(1.0).area_mm2(), 0.0);
    }
}
