//! Least squares over blends: every command's shares stay shares.

use blend::{MixModel, Shares, ciede2000};

use super::grid::Place;
use super::kernel::Row;
use crate::Machine;
use crate::delivery::{Cell, Mix, mix};

/// Steps of the descent.
const STEPS: usize = 250;
/// How strongly a command is drawn to what it would be unsharpened, against the mean command's
/// weight: it settles what the visible plastic leaves open.
const DRAW: f64 = 1e-3;
/// A small change of share by which a colour's sensitivity is felt.
const NUDGE: f64 = 0.02;

/// The commands' blends for which what comes out is nearest to what is aimed at.
///
/// Minimises Σ w |A x − t|² + Σ λ |x − x₀|² over blends x that the machine can feed, at the
/// places that are free and with the others as they are, by the
/// accelerated projected gradient (A. Beck, M. Teboulle, "A Fast Iterative
/// Shrinkage-Thresholding Algorithm for Linear Inverse Problems", SIAM Journal on Imaging
/// Sciences 2(1), 2009, from memory), begun anew whenever it overshoots.
pub(super) fn blends(
    cells: &[Cell],
    grid: &[Place],
    rows: &[Row],
    machine: &Machine,
    model: &dyn MixModel,
) -> Vec<Shares> {
    let count = grid.iter().map(|g| g.shares.count()).max().unwrap_or(1);
    let least = match machine.keep_all_moving {
        true => machine.least_in_steps().min(1.0 / count as f64),
        false => 0.0,
    };
    let problem = Problem::new(cells, grid, rows, model);
    let mut x: Vec<Mix> = problem.prior.clone();
    let mut ahead = x.clone();
    let mut momentum = 1.0f64;
    let mut before = problem.cost(&x);
    for _ in 0..STEPS {
        let slope = problem.gradient(&ahead);
        let next: Vec<Mix> = ahead
            .iter()
            .zip(&slope)
            .zip(grid)
            .map(|((a, s), place)| {
                if !place.free {
                    return *a;
                }
                let moved = std::array::from_fn(|i| a[i] - s[i] / problem.steepest);
                projected(moved, count, least)
            })
            .collect();
        let cost = problem.cost(&next);
        if cost > before {
            // Overshot: go on from the last good place, without momentum.
            if momentum == 1.0 {
                break;
            }
            momentum = 1.0;
            ahead.clone_from(&x);
            continue;
        }
        let gained = before - cost;
        before = cost;
        let grown = 0.5 * (1.0 + (1.0 + 4.0 * momentum * momentum).sqrt());
        let push = (momentum - 1.0) / grown;
        momentum = grown;
        ahead = next
            .iter()
            .zip(&x)
            .map(|(n, o)| std::array::from_fn(|i| n[i] + push * (n[i] - o[i])))
            .collect();
        x = next;
        if gained <= 1e-9 * before {
            break;
        }
    }
    let found = x.iter().zip(grid);
    found
        .map(|(x, place)| Shares::from_weights(&x[..count]).unwrap_or(place.shares))
        .collect()
}

struct Problem<'a> {
    rows: &'a [Row],
    weights: Vec<f64>,
    targets: Vec<Mix>,
    prior: Vec<Mix>,
    draw: f64,
    /// A bound of the curvature.
    steepest: f64,
}

impl<'a> Problem<'a> {
    fn new(cells: &[Cell], grid: &[Place], rows: &'a [Row], model: &dyn MixModel) -> Self {
        let mut feel: Option<(Shares, f64)> = None;
        let mut weights: Vec<f64> = cells
            .iter()
            .map(|cell| {
                let sensitivity = match feel {
                    Some((known, s)) if known == cell.aim => s,
                    _ => sensitivity(&cell.aim, model),
                };
                feel = Some((cell.aim, sensitivity));
                cell.area_mm2 * sensitivity * sensitivity
            })
            .collect();
        // Scaled, so that costs are of the order of 1.
        let sum: f64 = weights.iter().sum();
        if sum > 0.0 {
            weights.iter_mut().for_each(|w| *w /= sum);
        }
        let mut problem = Self {
            rows,
            weights,
            targets: cells.iter().map(|c| mix(&c.aim)).collect(),
            prior: grid.iter().map(|g| mix(&g.shares)).collect(),
            draw: DRAW / grid.len() as f64,
            steepest: 1.0,
        };
        problem.steepest = problem.bound();
        problem
    }

    /// The rows have no negative part and add up to 1, so the curvature is at most the greatest
    /// column sum of the weighted rows.
    fn bound(&self) -> f64 {
        let mut columns = vec![0.0; self.prior.len()];
        for (row, weight) in self.rows.iter().zip(&self.weights) {
            for (part, column) in row.parts.iter().zip(&mut columns[row.first..]) {
                *column += weight * part;
            }
        }
        let most = columns.into_iter().fold(0.0, f64::max) + self.draw;
        if most > 0.0 { most } else { 1.0 }
    }

    /// What comes out on a cell, less what is aimed at.
    fn off(&self, cell: usize, x: &[Mix]) -> Mix {
        let row = &self.rows[cell];
        let mut off = self.targets[cell].map(|t| -t);
        for (part, x) in row.parts.iter().zip(&x[row.first..]) {
            for (o, x) in off.iter_mut().zip(x) {
                *o += part * x;
            }
        }
        off
    }

    fn cost(&self, x: &[Mix]) -> f64 {
        let square = |m: &Mix| m.iter().map(|v| v * v).sum::<f64>();
        let cells: f64 = (0..self.rows.len())
            .map(|i| self.weights[i] * square(&self.off(i, x)))
            .sum();
        let drawn: f64 = x
            .iter()
            .zip(&self.prior)
            .map(|(x, p)| square(&std::array::from_fn(|i| x[i] - p[i])))
            .sum();
        0.5 * (cells + self.draw * drawn)
    }

    fn gradient(&self, x: &[Mix]) -> Vec<Mix> {
        let mut slope: Vec<Mix> = x
            .iter()
            .zip(&self.prior)
            .map(|(x, p)| std::array::from_fn(|i| self.draw * (x[i] - p[i])))
            .collect();
        for (i, row) in self.rows.iter().enumerate() {
            let off = self.off(i, x);
            for (part, slope) in row.parts.iter().zip(&mut slope[row.first..]) {
                for (s, o) in slope.iter_mut().zip(&off) {
                    *s += self.weights[i] * part * o;
                }
            }
        }
        slope
    }
}

/// ΔE00 for a unit of share, about a blend: the mean over components that could be added.
fn sensitivity(shares: &Shares, model: &dyn MixModel) -> f64 {
    let here = model.mix(shares).to_lab();
    let count = shares.count();
    let sum: f64 = (0..count)
        .filter_map(|i| Shares::pure(i, count))
        .map(|pure| ciede2000(here, model.mix(&shares.toward(&pure, NUDGE)).to_lab()))
        .sum();
    (sum / count as f64 / NUDGE).max(1e-3)
}

/// The nearest point whose first `count` values are at least `least` and add up to 1, the rest
/// 0 (J. Duchi and others, "Efficient Projections onto the l1-Ball for Learning in High
/// Dimensions", ICML 2008, from memory).
fn projected(mut point: Mix, count: usize, least: f64) -> Mix {
    let room = 1.0 - least * count as f64;
    let mut sorted = point;
    let sorted = &mut sorted[..count];
    sorted.iter_mut().for_each(|v| *v -= least);
    sorted.sort_unstable_by(|a, b| b.total_cmp(a));
    let (mut sum, mut cut) = (0.0, 0.0);
    for (i, value) in sorted.iter().enumerate() {
        sum += value;
        let trial = (sum - room) / (i + 1) as f64;
        if value - trial > 0.0 {
            cut = trial;
        }
    }
    for (i, value) in point.iter_mut().enumerate() {
        *value = match i < count {
            true => (*value - least - cut).max(0.0) + least,
            false => 0.0,
        };
    }
    point
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::MAX_COMPONENTS;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn projections_are_shares_and_nearest(
            point in prop::array::uniform4(-2.0..2.0f64), least in 0.0..0.2f64,
            other in prop::array::uniform4(0.0..1.0f64),
        ) {
            let mut full = [0.0; MAX_COMPONENTS];
            full[..4].copy_from_slice(&point);
            let found = projected(full, 4, least);
            prop_assert!((found.iter().sum::<f64>() - 1.0).abs() < 1e-9);
            prop_assert!(found[..4].iter().all(|v| *v >= least - 1e-12));
            // No other blend that may be fed is nearer.
            let sum: f64 = other.iter().sum::<f64>().max(1e-9);
            let room = 1.0 - 4.0 * least;
            let other = other.map(|v| least + v / sum * room);
            let far = |to: &[f64]| -> f64 {
                point.iter().zip(to).map(|(p, t)| (p - t).powi(2)).sum()
            };
            prop_assert!(far(&found[..4]) <= far(&other) + 1e-9);
        }
    }
}
