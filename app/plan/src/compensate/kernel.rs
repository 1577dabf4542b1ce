//! How much each command is in each visible cell.

use crate::delivery::Cell;
use crate::machine::{Chamber, gamma_p};

/// What is further back than this many mixed volumes no longer shows (e⁻³⁰).
const MEMORY: f64 = 30.0;

/// One cell's mean blend as a sum over commands: the first of them, and the part of each.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    pub first: usize,
    pub parts: Vec<f64>,
}

/// For each cell the parts of the commands at rising places; the first command also stands for
/// all that was before it. Each row adds up to 1.
///
/// With I the integral of the step response, a command from e to f has a part of
/// (I(b−e) − I(a−e) − I(b−f) + I(a−f)) / (b−a) in a cell from a to b.
pub(super) fn rows(cells: &[Cell], places: &[f64], chamber: &Chamber) -> Vec<Row> {
    let memory = chamber.dead_mm3 + MEMORY * chamber.mixed_mm3;
    cells
        .iter()
        .map(|cell| {
            let (a, b) = (cell.from_mm3, cell.to_mm3);
            let end = places.partition_point(|&p| p < b - chamber.dead_mm3).max(1);
            let first = places[..end]
                .partition_point(|&p| p < a - memory)
                .saturating_sub(1);
            // How much of the cell is from commands at or after each place.
            let since = |place: f64| {
                (integral(chamber, b - place) - integral(chamber, a - place)) / (b - a)
            };
            let mut from: Vec<f64> = places[first..end].iter().map(|&p| since(p)).collect();
            from[0] = 1.0;
            from.push(0.0);
            Row {
                first,
                parts: from.windows(2).map(|f| (f[0] - f[1]).max(0.0)).collect(),
            }
        })
        .collect()
}

/// The integral of the step response from 0: ∫P(n, a) da = a P(n, a) − n P(n + 1, a).
fn integral(chamber: &Chamber, after_mm3: f64) -> f64 {
    let past = after_mm3 - chamber.dead_mm3;
    if past <= 0.0 {
        return 0.0;
    }
    let tank = chamber.tank_mm3();
    if tank <= 0.0 {
        return past;
    }
    let (n, a) = (chamber.tanks.max(1), past / tank);
    tank * (a * gamma_p(n, a) - n as f64 * gamma_p(n + 1, a))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::delivery::{Feed, delivered};
    use blend::Shares;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// The closed form agrees with the chamber followed step by step.
        #[test]
        fn rows_say_what_the_chamber_does(
            dead_mm3 in 0.0..40.0, mixed_mm3 in 0.0..60.0, tanks in 1usize..6,
            commands in prop::collection::vec((1.0..90.0, 0.0..1.0), 1..12),
            lengths in prop::collection::vec(0.5..50.0f64, 1..20),
        ) {
            let chamber = Chamber { dead_mm3, mixed_mm3, tanks };
            let shares = |first: f64| Shares::new(&[first, 1.0 - first]).expect("shares");
            let mut at = 0.0;
            let feeds: Vec<Feed> = commands.iter().map(|&(length, first)| {
                let feed = Feed::steady(at, shares(first));
                at += length;
                feed
            }).collect();
            let mut edges = vec![0.0];
            for length in &lengths {
                edges.push(edges[edges.len() - 1] + length);
            }
            let start = feeds[0].from;
            let out = delivered(&chamber, &start, &feeds, &edges);
            let cells: Vec<Cell> = edges.windows(2).map(|e| Cell {
                layer: 0,
                dose: 0,
                from_mm3: e[0],
                to_mm3: e[1],
                area_mm2: 1.0,
                asked: start,
                aim: start,
            }).collect();
            let places: Vec<f64> = feeds.iter().map(|f| f.at_mm3).collect();
            for (row, out) in rows(&cells, &places, &chamber).iter().zip(&out) {
                let parts = row.parts.iter().zip(&feeds[row.first..]);
                let mean: f64 = parts.map(|(part, f)| part * f.from.as_slice()[0]).sum();
                prop_assert!((mean - out.as_slice()[0]).abs() < 1e-9, "{mean} {out}");
                prop_assert!((row.parts.iter().sum::<f64>() - 1.0).abs() < 1e-9);
            }
        }
    }
}
