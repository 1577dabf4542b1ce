//! Which member of the family the steps speak for.

use serde::{Deserialize, Serialize};

use super::family::Family;
use super::fitted::Fitted;
use super::sorted::{Sorted, rms};
use crate::mix::Mixing;

/// A way of mixing that was tried, and how far it is from steps that it was not fitted to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tried {
    /// How the spools would meet.
    pub mixing: Mixing,
    /// Root of the mean squared ΔE00 of each step from a fit to the others. A step far from all
    /// others counts only as far as a bad reading may.
    pub leave_one_out_rms_delta_e00: f64,
}

/// A simpler model within this share of the best one is as good.
const AS_GOOD: f64 = 1.1;

/// A step further off than so many times the others' scatter, ΔE00, counts no more for it: one
/// bad reading should not choose the model.
const FURTHEST: f64 = 5.0;
const SCATTER: f64 = 0.5;

/// The fit that comes nearest to steps it was not fitted to, and all that were tried. With too
/// few steps to leave one out it is the stirred one.
pub(super) fn best(sorted: &Sorted) -> Option<(Fitted, Vec<Tried>)> {
    let fits = Family::ALL
        .into_iter()
        .filter_map(|family| Fitted::without_outliers(sorted, family));
    let mut fits: Vec<Fitted> = fits.collect();
    let scatter = fits.iter().filter_map(Fitted::leave_one_out_rms);
    let furthest = FURTHEST * scatter.fold(f64::INFINITY, f64::min).max(SCATTER);
    let scored: Vec<Option<f64>> = fits.iter().map(|f| score(sorted, f, furthest)).collect();
    let least = scored
        .iter()
        .flatten()
        .copied()
        .fold(f64::INFINITY, f64::min);
    let good = |score: &Option<f64>| score.is_some_and(|s| s <= AS_GOOD * least);
    let chosen = scored.iter().position(good).unwrap_or(0);
    let both = fits.iter().zip(scored);
    let tried = both.filter_map(|(fitted, score)| {
        Some(Tried {
            mixing: fitted.numbers().mixing,
            leave_one_out_rms_delta_e00: score?,
        })
    });
    let tried = tried.collect();
    (chosen < fits.len()).then(|| (fits.swap_remove(chosen), tried))
}

/// How far a fit is from each step without it, over all mixed steps.
fn score(sorted: &Sorted, fitted: &Fitted, furthest: f64) -> Option<f64> {
    let model = fitted.numbers().model(&sorted.plastics);
    let mut all = sorted.differences(&model, &fitted.left_out);
    all.extend(fitted.deleted.as_ref()?.iter().map(|d| d.delta_e00));
    let bounded: Vec<f64> = all.into_iter().map(|d| d.min(furthest)).collect();
    Some(rms(&bounded))
}
