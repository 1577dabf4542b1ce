//! The purge block: a pillar beside the part that takes what the part can't hide.
//!
//! It is laid layer by layer with the part, from the plate to the last layer that needs it. A
//! layer that takes something is lines to and fro, closer together the more it takes, up to
//! solid. A layer that takes nothing is a wall alone, and narrower, as far as what comes above
//! can grow out of it; the few layers beneath lines have some lines as well.

use super::plate::Squares;
use super::plates::Bounds;

/// Plastic that is purged and part of which goes to the block: a layer's.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Level {
    /// Height of the nozzle, mm.
    pub top_mm: f64,
    /// What it has to take, mm³.
    pub purge_mm3: f64,
    /// A layer soon above it has to take something, and needs lines to lie on.
    pub carries: bool,
    /// Its side, mm.
    pub side_mm: f64,
}

/// So many layers beneath one that takes something have lines across already.
pub(super) const CARRYING: usize = 4;

/// Where the block stands and how large it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// Its low corner on the plate, mm.
    pub low_mm: [f64; 2],
    /// Its side, mm.
    pub side_mm: f64,
    /// The height that it grows to, mm.
    pub top_mm: f64,
    /// Width of its lines, mm.
    pub line_mm: f64,
}

/// Free room about the block, mm: its brim, and way for the nozzle.
pub(super) const CLEAR_MM: f64 = 5.0;

/// Lines of its brim.
const BRIM_LINES: u32 = 4;

/// The smallest block, mm.
const LEAST_SIDE_MM: f64 = 8.0;

/// The largest one, mm.
pub(super) const MOST_SIDE_MM: f64 = 48.0;

/// How many times as high as wide it may be (our rule; common practice, no source).
const MOST_SLENDER: f64 = 12.0;

/// It is nowhere narrower than this part of its widest place (our rule, no source).
const STEM: f64 = 0.3;

/// How far each side may grow outwards, by height: 45°, which needs no support (common
/// practice, no source).
const GROWS: f64 = 1.0;

/// How much farther away a place behind the part may be than one before it, by how far behind it is
/// (our rule, no source).
const BEHIND: f64 = 0.15;

/// The widest gap between lines across, mm (our rule: what a bridge of one line spans well).
const WIDEST_GAP_MM: f64 = 10.0;

impl Block {
    /// Sides that are worth trying for a block of a height, mm.
    pub(super) fn sides(top_mm: f64) -> impl Iterator<Item = f64> {
        let least = (top_mm / MOST_SLENDER).clamp(LEAST_SIDE_MM, MOST_SIDE_MM);
        (0..=80)
            .map(move |i| least + 0.5 * f64::from(i))
            .take_while(|side| *side <= MOST_SIDE_MM)
    }

    /// Its low and high corner with brim, mm.
    pub fn bounds_mm(&self) -> ([f64; 2], [f64; 2]) {
        let brim = self.brim_mm();
        (
            self.low_mm.map(|v| v - brim),
            self.low_mm.map(|v| v + self.side_mm + brim),
        )
    }

    /// Low and high corner of a layer of a side, mm.
    pub(crate) fn square_mm(&self, side_mm: f64) -> ([f64; 2], [f64; 2]) {
        let low = self.low_mm.map(|v| v + 0.5 * (self.side_mm - side_mm));
        (low, low.map(|v| v + side_mm))
    }

    /// How far its brim reaches out, mm.
    pub(crate) fn brim_mm(&self) -> f64 {
        f64::from(BRIM_LINES) * self.line_mm
    }

    /// Lines of a layer of a side: at least so many, at most so many.
    fn lines(&self, level: &Level) -> (u32, u32) {
        let inner = self.inner_mm(level.side_mm);
        let few = match level.carries || level.purge_mm3 > 0.0 {
            true => (inner / WIDEST_GAP_MM).ceil() + 1.0,
            false => 0.0,
        };
        let many = ((inner / self.line_mm + 1e-6).floor() + 1.0).max(few);
        (few as u32, many as u32)
    }

    /// Side of a layer along the middles of its outermost lines, mm.
    fn inner_mm(&self, side_mm: f64) -> f64 {
        (side_mm - self.line_mm).max(self.line_mm)
    }

    /// Length of a layer with so many lines, mm: none is a wall, and the way from line to line
    /// is one line more.
    fn length_mm(&self, side_mm: f64, lines: u32) -> f64 {
        match lines {
            0 => 4.0 * self.inner_mm(side_mm),
            _ => self.inner_mm(side_mm) * (f64::from(lines) + 1.0),
        }
    }

    /// The plastic of a layer that has to take so much, mm³: never less than it needs to stand,
    /// never more than solid, and else as near as whole lines come.
    pub(super) fn layer_mm3(&self, level: &Level, height_mm: f64) -> f64 {
        let lines = self.lines_for(level, height_mm);
        self.length_mm(level.side_mm, lines) * self.line_mm * height_mm
    }

    fn lines_for(&self, level: &Level, height_mm: f64) -> u32 {
        let (few, many) = self.lines(level);
        let wanted = level.purge_mm3 / (self.line_mm * height_mm).max(1e-9);
        let lines = (wanted / self.inner_mm(level.side_mm) - 1.0)
            .round()
            .max(0.0);
        (lines as u32).clamp(few, many)
    }

    /// Gives each level its side: no wider than its plastic asks for and than `self.side_mm`, no
    /// narrower than what is above can grow out of, and than what stands.
    pub(super) fn taper(&self, levels: &mut [Level]) {
        let slender = self.top_mm / MOST_SLENDER;
        let least = (STEM * self.side_mm).max(slender).max(LEAST_SIDE_MM);
        let least = least.min(self.side_mm);
        let mut above: Option<Level> = None;
        for index in (0..levels.len()).rev() {
            let below_mm = match index.checked_sub(1).and_then(|i| levels.get(i)) {
                Some(level) => level.top_mm,
                None => 0.0,
            };
            let Some(level) = levels.get_mut(index) else {
                continue;
            };
            let height_mm = level.top_mm - below_mm;
            let carried = above.map_or(0.0, |above| {
                above.side_mm - 2.0 * GROWS * (above.top_mm - level.top_mm)
            });
            // Solid, so much goes into a square of this side.
            let asks = (level.purge_mm3 / height_mm.max(1e-9)).sqrt() + 0.5 * self.line_mm;
            level.side_mm = asks.max(carried).clamp(least, self.side_mm);
            above = Some(*level);
        }
    }

    /// The path of a layer: chains of points, mm. Layers go across in turn along x and y.
    pub(super) fn path(&self, level: &Level, height_mm: f64, number: usize) -> Vec<Vec<[f64; 2]>> {
        let inner = self.inner_mm(level.side_mm);
        let low = self.low_mm.map(|v| v + 0.5 * (self.side_mm - inner));
        let high = low.map(|v| v + inner);
        let lines = self.lines_for(level, height_mm);
        if lines == 0 {
            let wall = vec![low, [high[0], low[1]], high, [low[0], high[1]], low];
            return vec![wall];
        }
        let turned = number % 2 == 1;
        let (along, across) = if turned { (1, 0) } else { (0, 1) };
        let pick = |corner: [f64; 2], axis: usize| corner.get(axis).copied().unwrap_or(0.0);
        let mut rows = Vec::with_capacity(2 * lines as usize);
        for line in 0..lines {
            let part = f64::from(line) / f64::from((lines - 1).max(1));
            let at = pick(low, across) + inner * part;
            let mut ends = [pick(low, along), pick(high, along)];
            if line % 2 == 1 {
                ends.reverse();
            }
            for end in ends {
                rows.push(if turned { [at, end] } else { [end, at] });
            }
        }
        vec![rows]
    }

    /// The brim about a first layer of a side: loops from the outside in.
    pub(super) fn brim(&self, side_mm: f64) -> Vec<Vec<[f64; 2]>> {
        let inner = self.inner_mm(side_mm);
        let first = self.low_mm.map(|v| v + 0.5 * (self.side_mm - inner));
        (1..=BRIM_LINES)
            .rev()
            .map(|ring| {
                let out = f64::from(ring) * self.line_mm;
                let low = first.map(|v| v - out);
                let high = first.map(|v| v + inner + out);
                vec![low, [high[0], low[1]], high, [low[0], high[1]], low]
            })
            .collect()
    }

    fn brim_length_mm(&self, side_mm: f64) -> f64 {
        let inner = self.inner_mm(side_mm);
        (1..=BRIM_LINES)
            .map(|ring| 4.0 * (inner + 2.0 * f64::from(ring) * self.line_mm))
            .sum()
    }

    /// All its plastic, mm³.
    pub(super) fn volume_mm3(&self, levels: &[Level]) -> f64 {
        let mut below = 0.0;
        let mut sum = 0.0;
        for (index, level) in levels.iter().enumerate() {
            let height = level.top_mm - below;
            below = level.top_mm;
            sum += self.layer_mm3(level, height);
            if index == 0 {
                sum += self.brim_length_mm(level.side_mm) * self.line_mm * height;
            }
        }
        sum
    }
}

/// Finds a free place for a block, as near as may be to what is printed, or to `near` of it; places
/// that are not `clear` for the block with its brim are passed over.
///
/// `bed_mm` is the bed's size if it is known: from 0 to there. Without it, places where the file
/// itself prints are taken to be on the bed, and their neighbourhood.
pub(super) fn place(
    taken: &Squares,
    block: &Block,
    bed_mm: Option<[f64; 2]>,
    near: Option<Bounds>,
    clear: impl Fn(Bounds) -> bool,
) -> Option<[f64; 2]> {
    const STEP_MM: f64 = 2.0;
    let (low, high) = taken.bounds_mm()?;
    let (side_mm, brim) = (block.side_mm, block.brim_mm());
    let out = side_mm + brim + CLEAR_MM;
    let (from, to) = match bed_mm {
        Some(bed) => ([brim + 1.0; 2], bed.map(|size| size - side_mm - brim - 1.0)),
        None => {
            // Not past 0 unless the file prints there.
            let from = low.map(|v| match v >= 0.0 {
                true => (v - out - STEP_MM).max(brim + 1.0),
                false => v - out - STEP_MM,
            });
            (from, high.map(|v| v + CLEAR_MM + brim + STEP_MM))
        }
    };
    let (low, high) = near.unwrap_or((low, high));
    let middle = [0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])];
    // Rather behind the part than before it, where one looks from.
    let far = |at: [f64; 2]| {
        let [x, y] = [0, 1].map(|axis: usize| {
            let of = |place: [f64; 2]| place.get(axis).copied().unwrap_or(0.0);
            of(at) + 0.5 * side_mm - of(middle)
        });
        x.hypot(y) - BEHIND * y
    };
    let mut best: Option<[f64; 2]> = None;
    let count = |axis: usize| {
        let (a, b) = (from.get(axis).copied()?, to.get(axis).copied()?);
        (b >= a).then(|| ((b - a) / STEP_MM) as u32)
    };
    for i in 0..=count(0)? {
        for j in 0..=count(1)? {
            let at = [
                from[0] + f64::from(i) * STEP_MM,
                from[1] + f64::from(j) * STEP_MM,
            ];
            if best.is_some_and(|best| far(best) <= far(at)) {
                continue;
            }
            let wide = brim + CLEAR_MM;
            let around = |by: f64| (at.map(|v| v - by), at.map(|v| v + side_mm + by));
            let (low, high) = around(wide);
            if clear(around(brim)) && taken.is_free(low, high) {
                best = Some(at);
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_layer_takes_what_it_must_and_stays_within(
            side in 8.0..40.0f64, part in 0.3..1.0f64, purge in 0.0..400.0f64,
            height in 0.1..0.3f64, number in 0_usize..4,
        ) {
            let block = Block { low_mm: [3.0, 7.0], side_mm: side, top_mm: 30.0, line_mm: 0.45 };
            let own = (part * side).max(4.0);
            let level = Level { top_mm: 9.0, purge_mm3: purge, carries: number > 1, side_mm: own };
            let mut length = 0.0;
            for chain in block.path(&level, height, number) {
                for pair in chain.windows(2) {
                    length += (pair[0][0] - pair[1][0]).hypot(pair[0][1] - pair[1][1]);
                }
                for [x, y] in chain {
                    prop_assert!((3.0..=3.0 + side).contains(&x) && (7.0..=7.0 + side).contains(&y));
                }
            }
            let laid = length * 0.45 * height;
            prop_assert!((laid - block.layer_mm3(&level, height)).abs() < 1e-6);
            let solid = own * own * height;
            // Within half a line of what is asked for.
            let half = 0.5 * own * 0.45 * height;
            prop_assert!(laid >= purge.min(0.85 * solid) - half, "{laid} {purge} {solid}");
            prop_assert!(laid <= 1.15 * solid + 2.0, "{laid} {solid}");
        }

        #[test]
        fn each_layer_grows_out_of_the_one_below(
            purges in prop::collection::vec(prop_oneof![3 => Just(0.0), 1 => 1.0..200.0f64], 2..200),
            side in 8.0..40.0f64,
        ) {
            let mut levels: Vec<Level> = purges.iter().enumerate().map(|(i, purge)| Level {
                top_mm: 0.2 * (i + 1) as f64, purge_mm3: *purge, carries: false, side_mm: 0.0,
            }).collect();
            let top_mm = levels.last().map_or(0.0, |l| l.top_mm);
            let block = Block { low_mm: [0.0; 2], side_mm: side, top_mm, line_mm: 0.45 };
            block.taper(&mut levels);
            for pair in levels.windows(2) {
                prop_assert!(pair[1].side_mm - pair[0].side_mm <= 2.0 * 0.2 + 1e-9, "{pair:?}");
            }
            for level in &levels {
                prop_assert!(level.side_mm <= side + 1e-9 && level.side_mm >= side.min(8.0) - 1e-9);
            }
        }
    }
}
