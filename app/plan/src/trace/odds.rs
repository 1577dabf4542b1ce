//! How likely each cause is.

use super::search::Fit;

/// How much what was seen, and how usual a cause is, count beside what independent readings of the
/// usual errors and the numbers in `fault` would make of them: a temperature for each, found by
/// likelihood on 240 simulated prints and held against as many others (docs/as-printed.md; C. Guo
/// and others, "On Calibration of Modern Neural Networks", 2017, from memory).
const SHARPNESS: f64 = 1.55;
const USUALNESS: f64 = 2.5;
/// Finished parts are photographed whether they are bad or not, so it is as usual that nothing is wrong
/// with one (our assumption, no source); and the few heights of a flat part say no more than they do.
const SOUND: f64 = 0.35;
/// In so many prints something is wrong that no reading tells, or that the search misses: found
/// with them.
const LAPSE: f64 = 0.02;
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
pub(super) fn odds(fits: &[Fit], count: usize, looks: usize, photographed: bool) -> Odds {
    let n = count.max(2) as f64;
    let toll = (looks.max(2) as f64).ln();
    let least = fits.iter().map(|f| f.squares).fold(f64::INFINITY, f64::min);
    let scale = (least / n).max(1.0);
    let usual = |f: &Fit| match photographed {
        false => USUALNESS * f.cause.usual().ln(),
        true if f.cause.faults.is_empty() => SOUND.ln(),
        true => f.cause.usual().ln(),
    };
    let score = |f: &Fit| 0.5 * SHARPNESS * (f.squares / scale + f.free * toll) - usual(f);
    let best = fits.iter().map(score).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = fits.iter().map(|f| (best - score(f)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    let lapse = LAPSE / fits.len().max(1) as f64;
    let chance = |weight: &f64| (1.0 - LAPSE) * weight / sum + lapse;
    let rms = (least / n).sqrt();
    let none = 1.0 / (1.0 + (-(rms - UNEXPLAINED) * STEEPNESS).exp());
    Odds {
        chances: weights.iter().map(|w| chance(w) * (1.0 - none)).collect(),
        none,
    }
}
