//! How likely each cause is.

use super::search::Fit;

/// Readings and models have faults in common that no usual error knows of, so that odds are
/// taken to be less sharp than independent errors would make them: found on simulated prints,
/// such that what is told holds as often as it says.
const SHARPNESS: f64 = 0.45;
/// Off by more than so many usual errors, a cause explains nothing any more, half of the time.
const UNEXPLAINED: f64 = 2.6;
/// How fast that comes about.
const STEEPNESS: f64 = 3.5;

/// The odds of some causes, and of none of them.
pub(super) struct Odds {
    pub chances: Vec<f64>,
    pub none: f64,
}

/// Odds by Schwarz's criterion: misfit plus ln n for each free number, beside how usual each
/// cause is. Where even the best one does not explain what was seen to within the usual errors,
/// those are taken to be larger; and where it is far from that, it is likely to be something
/// else altogether.
///
/// `count` is of numbers and `looks` of things seen: a colour is three numbers, but one thing.
pub(super) fn odds(fits: &[Fit], count: usize, looks: usize) -> Odds {
    let n = count.max(2) as f64;
    let toll = (looks.max(2) as f64).ln();
    let least = fits.iter().map(|f| f.squares).fold(f64::INFINITY, f64::min);
    let scale = (least / n).max(1.0);
    let score = |f: &Fit| f.squares / scale + f.free * toll - 2.0 * f.cause.usual().ln();
    let best = fits.iter().map(score).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = fits
        .iter()
        .map(|f| (-0.5 * SHARPNESS * (score(f) - best)).exp())
        .collect();
    let sum: f64 = weights.iter().sum();
    let rms = (least / n).sqrt();
    let none = 1.0 / (1.0 + (-(rms - UNEXPLAINED) * STEEPNESS).exp());
    Odds {
        chances: weights.iter().map(|w| w / sum * (1.0 - none)).collect(),
        none,
    }
}
