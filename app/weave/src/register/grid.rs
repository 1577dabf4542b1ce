//! Printed lines sorted into cells, to ask which one a ray meets first.

use std::collections::HashMap;

use glam::DVec2;

const CELL_MM: f64 = 2.0;

/// Lines by cell.
#[derive(Debug, Default)]
pub(super) struct Grid {
    segments: Vec<[DVec2; 2]>,
    cells: HashMap<(i32, i32), Vec<u32>>,
}

fn cell(point: DVec2) -> (i32, i32) {
    let at = (point / CELL_MM).floor();
    (at.x as i32, at.y as i32)
}

/// Calls with each cell that a line may touch: those along it, in steps of half a cell, and
/// their neighbours' corners covered by a margin.
fn along(from: DVec2, to: DVec2, mut each: impl FnMut((i32, i32))) {
    let steps = ((to - from).length() / (0.5 * CELL_MM))
        .ceil()
        .clamp(1.0, 1e5) as u32;
    let mut last = None;
    for i in 0..=steps {
        let at = cell(from.lerp(to, f64::from(i) / f64::from(steps)));
        if last != Some(at) {
            // A diagonal step passes one of two corners; take both.
            if let Some((x, y)) = last
                && x != at.0
                && y != at.1
            {
                each((x, at.1));
                each((at.0, y));
            }
            each(at);
            last = Some(at);
        }
    }
}

impl Grid {
    pub(super) fn new(segments: &[[DVec2; 2]]) -> Self {
        let mut cells: HashMap<(i32, i32), Vec<u32>> = HashMap::new();
        for (index, [from, to]) in segments.iter().enumerate() {
            along(*from, *to, |at| {
                let list = cells.entry(at).or_default();
                if list.last() != Some(&(index as u32)) {
                    list.push(index as u32);
                }
            });
        }
        Self {
            segments: segments.to_vec(),
            cells,
        }
    }

    /// How far along a ray the first line lies, mm, if within `length_mm`; `direction` is of
    /// length 1.
    pub(super) fn first_hit(&self, from: DVec2, direction: DVec2, length_mm: f64) -> Option<f64> {
        let to = from + direction * length_mm;
        let mut nearest = f64::MAX;
        along(from, to, |at| {
            for index in self.cells.get(&at).into_iter().flatten() {
                if let Some([a, b]) = self.segments.get(*index as usize)
                    && let Some(t) = meet(from, direction, *a, *b)
                    && t < nearest
                {
                    nearest = t;
                }
            }
        });
        (nearest <= length_mm).then_some(nearest)
    }
}

/// How far along the ray it crosses a line.
fn meet(from: DVec2, direction: DVec2, a: DVec2, b: DVec2) -> Option<f64> {
    let side = b - a;
    let cross = direction.perp_dot(side);
    if cross.abs() < 1e-12 {
        return None;
    }
    let t = (a - from).perp_dot(side) / cross;
    let u = (a - from).perp_dot(direction) / cross;
    // A little beyond the ends, so that no ray slips through where two lines meet.
    let slack = 1e-6;
    (t >= 0.0 && u >= -slack && u <= 1.0 + slack).then_some(t)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_of_several_walls_is_met() {
        let walls: Vec<[DVec2; 2]> = [0.0, 0.45, 0.9]
            .map(|x| [DVec2::new(x, -50.0), DVec2::new(x, 50.0)])
            .to_vec();
        let grid = Grid::new(&walls);
        for angle in [0.0_f64, 0.3, -0.8] {
            let direction = DVec2::from_angle(angle);
            let hit = grid
                .first_hit(DVec2::new(-1.0, 7.3), direction, 3.0)
                .expect("a wall");
            assert!((hit * direction.x - 1.0).abs() < 1e-12);
        }
        assert_eq!(grid.first_hit(DVec2::new(-1.0, 0.0), DVec2::X, 0.9), None);
        assert_eq!(
            grid.first_hit(DVec2::new(-1.0, 0.0), DVec2::NEG_X, 9.0),
            None
        );
    }
}
