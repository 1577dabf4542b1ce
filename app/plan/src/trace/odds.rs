//! How likely each cause is.

use super::search::Fit;

/// How much what was seen, and how usual a cause is, count beside what independent readings of the
/// usual errors and the numbers in `fault` would make of them (C. Guo and others, "On Calibration of
/// Modern Neural Networks", 2017, from memory).
struct Weights {
    /// Of a square.
    sharpness: f64,
    /// Of a free number, for each logarithm of how many things were seen.
    toll: f64,
    /// Of how usual a cause is.
    usualness: f64,
    /// How usual it is that nothing is wrong, where that is not as usual as among bad prints.
    sound: Option<f64>,
    /// In so many prints something is wrong that no reading tells, or that the search misses.
    lapse: f64,
    /// Readings scatter as they are stated to as far as so many numbers say so; the rest is what they are
    /// seen to scatter by, beside the best cause. Without it they scatter by no less than is stated.
    stated: Option<f64>,
}

/// Of readings one by one: found by likelihood on 240 simulated prints and held against as many
/// others (docs/as-printed.md).
const READ: Weights = Weights {
    sharpness: 1.55,
    toll: 0.5 * 1.55,
    usualness: 2.5,
    sound: None,
    lapse: 0.02,
    stated: None,
};

/// Of a finished part's photographs, found by likelihood on two thirds of 222 rendered prints and held
/// against the rest (docs/photographs.md). Their errors are mostly shared: beside that, neighbouring
/// heights scatter by much less than a row may be off. Finished parts are photographed whether they are
/// bad or not, so it is as usual that nothing is wrong with one (our assumption, no source).
const PHOTOGRAPHED: Weights = Weights {
    sharpness: 1.0,
    toll: 1.6,
    usualness: 1.0,
    sound: Some(0.35),
    lapse: 0.05,
    stated: Some(20.0),
};

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
/// those are taken to be larger, and where photographs scatter less, to be smaller; and where it is far
/// from them, it is likely to be something else altogether.
///
/// `count` is of numbers and `looks` of things seen: a colour is three numbers, but one thing.
pub(super) fn odds(fits: &[Fit], count: usize, looks: usize, photographed: bool) -> Odds {
    let weights = match photographed {
        true => &PHOTOGRAPHED,
        false => &READ,
    };
    let n = count.max(2) as f64;
    let toll = weights.toll * (looks.max(2) as f64).ln();
    let least = fits.iter().map(|f| f.squares).fold(f64::INFINITY, f64::min);
    let scale = match weights.stated {
        Some(stated) => (least + stated) / (n + stated),
        None => (least / n).max(1.0),
    };
    let usual = |f: &Fit| match weights.sound {
        Some(sound) if f.cause.faults.is_empty() => sound.ln(),
        _ => weights.usualness * f.cause.usual().ln(),
    };
    let score = |f: &Fit| 0.5 * weights.sharpness * f.squares / scale + f.free * toll - usual(f);
    let best = fits.iter().map(score).fold(f64::INFINITY, f64::min);
    let likely: Vec<f64> = fits.iter().map(|f| (best - score(f)).exp()).collect();
    let sum: f64 = likely.iter().sum();
    let lapse = weights.lapse / fits.len().max(1) as f64;
    let chance = |likely: &f64| (1.0 - weights.lapse) * likely / sum + lapse;
    let rms = (least / n).sqrt();
    let none = 1.0 / (1.0 + (-(rms - UNEXPLAINED) * STEEPNESS).exp());
    Odds {
        chances: likely.iter().map(|w| chance(w) * (1.0 - none)).collect(),
        none,
    }
}
