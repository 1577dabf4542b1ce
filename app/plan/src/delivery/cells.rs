//! Visible plastic cut fine enough to see how a change runs along it.

use blend::Shares;

use crate::economy::{Extrusion, Purpose};
use crate::machine::Chamber;

/// The shortest cell, in tank volumes; cells grow with the distance from the ends of a stretch,
/// where changes happen.
const SHORTEST: f64 = 0.25;
/// How much longer each cell is than the one nearer to the end.
const GROWTH: f64 = 1.6;
/// The longest cell, in tank volumes.
const LONGEST: f64 = 4.0;

/// A piece of a stretch that is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Cell {
    pub layer: usize,
    pub dose: usize,
    /// Extruded volume at which it begins, mm³.
    pub from_mm3: f64,
    /// And ends.
    pub to_mm3: f64,
    /// Its part of the visible area, mm².
    pub area_mm2: f64,
    pub asked: Shares,
    pub aim: Shares,
}

/// All visible plastic, in order.
pub(crate) fn cells(extrusion: &Extrusion, chamber: &Chamber) -> Vec<Cell> {
    let mut cells = Vec::new();
    let mut at = 0.0;
    for stretch in &extrusion.stretches {
        let whole = stretch.volume_mm3;
        if let Purpose::Skin {
            dose,
            area_mm2,
            asked,
            aim,
        } = stretch.purpose
        {
            for pair in cuts(whole, chamber.tank_mm3()).windows(2) {
                cells.push(Cell {
                    layer: stretch.layer,
                    dose,
                    from_mm3: at + whole * pair[0],
                    to_mm3: at + whole * pair[1],
                    area_mm2: area_mm2 * (pair[1] - pair[0]),
                    asked,
                    aim,
                });
            }
        }
        at += whole;
    }
    cells
}

/// Where a stretch is cut, as parts of it from 0 to 1: finely at both ends.
fn cuts(volume_mm3: f64, tank_mm3: f64) -> Vec<f64> {
    let mut lengths = Vec::new();
    let (mut length, mut half) = (SHORTEST * tank_mm3, 0.0);
    while length > 0.0 && half + length < 0.5 * volume_mm3 {
        half += length;
        lengths.push(half / volume_mm3);
        length = (length * GROWTH).min(LONGEST * tank_mm3);
        if lengths.len() > 200 {
            break;
        }
    }
    let mut cuts = vec![0.0];
    cuts.extend(lengths.iter().copied());
    cuts.extend(lengths.iter().rev().map(|l| 1.0 - l));
    cuts.push(1.0);
    cuts.dedup();
    cuts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cuts_rise_from_nothing_to_all() {
        for (volume, tank) in [
            (1.0, 30.0),
            (80.0, 30.0),
            (5000.0, 30.0),
            (10.0, 0.0),
            (1e9, 1.0),
        ] {
            let cuts = cuts(volume, tank);
            assert_eq!((cuts[0], cuts[cuts.len() - 1]), (0.0, 1.0));
            assert!(cuts.windows(2).all(|c| c[0] < c[1]), "{cuts:?}");
        }
    }
}
