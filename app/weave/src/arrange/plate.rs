//! Which places of the plate are taken, in small squares.

use std::collections::HashMap;

use toolpath::Move;

/// What of a move hangs over nothing, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Hangs {
    /// All of it.
    Throughout(f64),
    /// From its start, and up to its end.
    AtEnds(f64, f64),
}

/// Squares that plastic was laid in; eight by eight of them are kept in one word.
#[derive(Clone, Debug)]
pub(super) struct Squares {
    cell_mm: f64,
    tiles: HashMap<(i32, i32), u64>,
    last: Option<((i32, i32), u64)>,
}

impl Squares {
    pub(super) fn new(cell_mm: f64) -> Self {
        Self {
            cell_mm,
            tiles: HashMap::new(),
            last: None,
        }
    }

    pub(super) fn clear(&mut self) {
        self.tiles.clear();
        self.last = None;
    }

    pub(super) fn is_empty(&self) -> bool {
        self.tiles.is_empty() && self.last.is_none()
    }

    fn cell(&self, at: f64) -> i32 {
        (at / self.cell_mm).floor().clamp(-1e6, 1e6) as i32
    }

    fn bit(x: i32, y: i32) -> u64 {
        1 << ((x & 7) | ((y & 7) << 3))
    }

    fn mark(&mut self, x: i32, y: i32) {
        let (tile, bit) = ((x >> 3, y >> 3), Self::bit(x, y));
        match &mut self.last {
            Some((known, bits)) if *known == tile => *bits |= bit,
            _ => {
                self.flush();
                self.last = Some((tile, bit));
            }
        }
    }

    fn flush(&mut self) {
        if let Some((tile, bits)) = self.last.take() {
            *self.tiles.entry(tile).or_default() |= bits;
        }
    }

    fn has(&self, x: i32, y: i32) -> bool {
        let (tile, bit) = ((x >> 3, y >> 3), Self::bit(x, y));
        let held = self.tiles.get(&tile).copied().unwrap_or(0);
        let last = self.last.filter(|(known, _)| *known == tile);
        (held | last.map_or(0, |l| l.1)) & bit != 0
    }

    /// Marks the squares beneath a move.
    pub(super) fn lay(&mut self, step: &Move) {
        let steps = (step.length_mm() / (0.5 * self.cell_mm))
            .ceil()
            .clamp(1.0, 1e5) as u32;
        for i in 0..=steps {
            let at = step.at(f64::from(i) / f64::from(steps));
            let (x, y) = (self.cell(at[0]), self.cell(at[1]));
            self.mark(x, y);
        }
    }

    /// How a move hangs: length without anything beneath from its start on, and up to its end;
    /// what lies between two places that are held is a bridge, and both are nought for it. All of
    /// the length for a move that is nowhere held.
    pub(super) fn hangs(&self, step: &Move) -> Hangs {
        let length = step.length_mm();
        let steps = (length / self.cell_mm).ceil().clamp(1.0, 1e5) as u32;
        let held = |i: u32| {
            let at = step.at(f64::from(i) / f64::from(steps));
            let (x, y) = (self.cell(at[0]), self.cell(at[1]));
            (-1..=1).any(|dx| (-1..=1).any(|dy| self.has(x + dx, y + dy)))
        };
        let part = length / f64::from(steps);
        let Some(first) = (0..=steps).find(|i| held(*i)) else {
            return Hangs::Throughout(length);
        };
        let last = (0..=steps).rev().find(|i| held(*i)).unwrap_or(first);
        Hangs::AtEnds(part * f64::from(first), part * f64::from(steps - last))
    }

    /// Low and high corner of all marked squares, mm.
    pub(super) fn bounds_mm(&self) -> Option<([f64; 2], [f64; 2])> {
        let mut found: Option<([i32; 2], [i32; 2])> = None;
        let last = self.last.as_ref().map(|(tile, bits)| (tile, bits));
        for ((tx, ty), bits) in self.tiles.iter().chain(last) {
            for i in 0..64 {
                if bits & (1 << i) != 0 {
                    let (x, y) = ((tx << 3) + (i & 7), (ty << 3) + (i >> 3));
                    let (low, high) = found.get_or_insert(([x, y], [x, y]));
                    *low = [low[0].min(x), low[1].min(y)];
                    *high = [high[0].max(x), high[1].max(y)];
                }
            }
        }
        let mm = |cell: i32| f64::from(cell) * self.cell_mm;
        found.map(|(low, high)| ([mm(low[0]), mm(low[1])], [mm(high[0] + 1), mm(high[1] + 1)]))
    }

    /// Whether nothing is laid in a rectangle, mm.
    pub(super) fn is_free(&self, low: [f64; 2], high: [f64; 2]) -> bool {
        let (x0, x1) = (self.cell(low[0]), self.cell(high[0]));
        let (y0, y1) = (self.cell(low[1]), self.cell(high[1]));
        !(y0..=y1).any(|y| (x0..=x1).any(|x| self.has(x, y)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use toolpath::Path;

    fn along(from: [f64; 2], to: [f64; 2]) -> Move {
        Move {
            from: [from[0], from[1], 0.2],
            to: [to[0], to[1], 0.2],
            path: Path::Straight,
            extruded_mm: 1.0,
            fresh_mm: 1.0,
            feed_mm_min: 1200.0,
            rapid: false,
        }
    }

    #[test]
    fn what_lies_over_a_gap_is_told() {
        let mut below = Squares::new(0.4);
        below.lay(&along([0.0, 0.0], [10.0, 0.0]));
        below.lay(&along([20.0, 0.0], [30.0, 0.0]));
        assert_eq!(
            below.hangs(&along([0.0, 0.3], [9.0, 0.3])),
            Hangs::AtEnds(0.0, 0.0)
        );
        // A bridge is held at both ends.
        assert_eq!(
            below.hangs(&along([5.0, 0.0], [25.0, 0.0])),
            Hangs::AtEnds(0.0, 0.0)
        );
        assert_eq!(
            below.hangs(&along([0.0, 5.0], [3.0, 5.0])),
            Hangs::Throughout(3.0)
        );
        match below.hangs(&along([5.0, 0.0], [16.0, 0.0])) {
            Hangs::AtEnds(start, end) => assert!(start == 0.0 && (end - 5.6).abs() < 1.0, "{end}"),
            other => panic!("{other:?}"),
        }
        let (low, high) = below.bounds_mm().expect("plastic");
        assert!(low[0] <= 0.0 && high[0] >= 30.0);
        assert!(below.is_free([11.0, -2.0], [19.0, 2.0]));
        assert!(!below.is_free([9.0, -2.0], [19.0, 2.0]));
    }
}
