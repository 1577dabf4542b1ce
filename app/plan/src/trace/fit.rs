//! The free numbers of each cause, fitted to what was seen.

use super::Cause;
use super::forward::Print;

/// A cause with its best numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fit {
    pub cause: Cause,
    /// Sum of squared errors in usual errors.
    pub misfit: f64,
    /// How many numbers were free.
    pub free: f64,
}

/// One search for each kind of cause.
pub(super) const SEARCHES: [fn(&Print) -> Option<Fit>; 6] =
    [as_planned, under_feed, swapped, lag, heights, flow_limit];

/// Chances of the causes by Schwarz's criterion: misfit plus ln n for each free number. Where
/// even the best cause does not explain what was seen to within the usual errors, those errors
/// are taken to be larger, so that no cause looks surer than it is.
pub(super) fn chances(fits: &[Fit], count: usize) -> Vec<f64> {
    let n = count as f64;
    let least = fits.iter().map(|f| f.misfit).fold(f64::INFINITY, f64::min);
    let scale = (least / n).max(1.0);
    let score = |f: &Fit| f.misfit / scale + f.free * n.max(2.0).ln();
    let best = fits.iter().map(score).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = fits
        .iter()
        .map(|f| (-0.5 * (score(f) - best)).exp())
        .collect();
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|w| w / sum).collect()
}

fn as_planned(print: &Print) -> Option<Fit> {
    Some(fit(print, Cause::AsPlanned, 0.0))
}

fn fit(print: &Print, cause: Cause, free: f64) -> Fit {
    Fit {
        misfit: print.misfit(&cause),
        cause,
        free,
    }
}

fn under_feed(print: &Print) -> Option<Fit> {
    let top = print.top_mm();
    let (missings, froms) = ((0.05, 0.98, 8), (0.0, 0.95 * top, 10));
    let mut best: Option<Fit> = None;
    for drive in 0..print.drives() {
        let cause = |missing: f64, from_mm: f64, slips: bool| Cause::UnderFeed {
            drive,
            missing,
            from_mm,
            slips,
        };
        // Colours and filament don't tell the two ways apart, so the place of one is near the
        // other's.
        let start = grid(missings, froms, |m, f| print.misfit(&cause(m, f, true)));
        for slips in [false, true] {
            let cost = |m: f64, f: f64| print.misfit(&cause(m, f, slips));
            let (missing, from_mm) = narrowed(start, missings, froms, cost);
            // Which drive counts as a free number as well as how much and from where.
            keep(&mut best, fit(print, cause(missing, from_mm, slips), 3.0));
        }
    }
    best
}

fn swapped(print: &Print) -> Option<Fit> {
    let mut best = None;
    for drive in 0..print.drives() {
        for with in drive + 1..print.drives() {
            let free = if print.drives() > 2 { 1.0 } else { 0.0 };
            keep(&mut best, fit(print, Cause::Swapped { drive, with }, free));
        }
    }
    best
}

fn lag(print: &Print) -> Option<Fit> {
    let set = print.chamber().lag_mm3();
    if set <= 0.0 {
        return None;
    }
    let cause = |log: f64| Cause::Lag {
        lag_mm3: set * log.exp(),
    };
    let log = line((0.1f64.ln(), 10f64.ln(), 24), |log| {
        print.misfit(&cause(log))
    });
    Some(fit(print, cause(log), 1.0))
}

fn heights(print: &Print) -> Option<Fit> {
    let (start, end) = print.changes_mm()?;
    let top = print.top_mm();
    if end - start < 1e-6 {
        return None;
    }
    let cause = |start_mm: f64, end_mm: f64| Cause::Heights { start_mm, end_mm };
    let misfit = |s: f64, e: f64| match e > s + 0.02 * top {
        true => print.misfit(&cause(s, e)),
        false => f64::INFINITY,
    };
    let reach = 0.4 * top;
    let found = plane(
        (start - reach, start + reach, 12),
        (end - reach, end + reach, 12),
        misfit,
    );
    Some(fit(print, cause(found.0, found.1), 2.0))
}

fn flow_limit(print: &Print) -> Option<Fit> {
    let (least, most) = (1.0 / print.drives() as f64, print.greatest_share());
    if most <= least {
        return None;
    }
    let cause = |most_share: f64| Cause::FlowLimit { most_share };
    let found = line((least, most, 16), |m| print.misfit(&cause(m)));
    Some(fit(print, cause(found), 1.0))
}

fn keep(best: &mut Option<Fit>, fit: Fit) {
    if best.is_none_or(|b| fit.misfit < b.misfit) {
        *best = Some(fit);
    }
}

/// The least place of a function between two ends: looked for on a grid, then narrowed down by
/// golden sections.
fn line((low, high, count): (f64, f64, usize), cost: impl Fn(f64) -> f64) -> f64 {
    let step = (high - low) / count as f64;
    let place = |i: usize| low + step * i as f64;
    let best = (0..=count)
        .map(|i| (place(i), cost(place(i))))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(low, |(x, _)| x);
    golden((best - step).max(low), (best + step).min(high), 24, cost)
}

/// Golden-section search.
fn golden(mut low: f64, mut high: f64, steps: usize, cost: impl Fn(f64) -> f64) -> f64 {
    let part = 0.5 * (5f64.sqrt() - 1.0);
    let (mut a, mut b) = (high - part * (high - low), low + part * (high - low));
    let (mut at_a, mut at_b) = (cost(a), cost(b));
    for _ in 0..steps {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - part * (high - low);
            at_a = cost(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + part * (high - low);
            at_b = cost(b);
        }
    }
    0.5 * (low + high)
}

/// Two ends of a number, and into how many steps a grid parts them.
type Ends = (f64, f64, usize);

/// The least place of a function of two numbers: a grid, then lines in turn.
fn plane(x: Ends, y: Ends, cost: impl Fn(f64, f64) -> f64) -> (f64, f64) {
    narrowed(grid(x, y, &cost), x, y, cost)
}

/// The least place on a grid.
fn grid(x: Ends, y: Ends, cost: impl Fn(f64, f64) -> f64) -> (f64, f64) {
    let place = |(low, high, count): Ends, i: usize| low + (high - low) * i as f64 / count as f64;
    let mut best = (f64::INFINITY, x.0, y.0);
    for i in 0..=x.2 {
        for j in 0..=y.2 {
            let (a, b) = (place(x, i), place(y, j));
            let found = cost(a, b);
            if found < best.0 {
                best = (found, a, b);
            }
        }
    }
    (best.1, best.2)
}

/// Narrows a place of a grid down, along one number and the other in turn.
fn narrowed(
    (mut a, mut b): (f64, f64),
    x: Ends,
    y: Ends,
    cost: impl Fn(f64, f64) -> f64,
) -> (f64, f64) {
    let wide = |(low, high, count): Ends| (high - low) / count as f64;
    let (mut wide_a, mut wide_b) = (wide(x), wide(y));
    for _ in 0..4 {
        a = golden((a - wide_a).max(x.0), (a + wide_a).min(x.1), 8, |a| {
            cost(a, b)
        });
        b = golden((b - wide_b).max(y.0), (b + wide_b).min(y.1), 8, |b| {
            cost(a, b)
        });
        wide_a *= 0.5;
        wide_b *= 0.5;
    }
    (a, b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn searches_find_the_least_place() {
        let x = line((-3.0, 5.0, 8), |x| {
            (x - 1.234).powi(2) + 0.1 * (9.0 * x).sin()
        });
        assert!((x - 1.234).abs() < 0.3);
        let (a, b) = plane((0.0, 4.0, 8), (0.0, 4.0, 8), |a, b| {
            (a - 1.3).powi(2) + 2.0 * (b - 2.7).powi(2) + 0.5 * (a - 1.3) * (b - 2.7)
        });
        assert!((a - 1.3).abs() < 1e-2 && (b - 2.7).abs() < 1e-2, "{a} {b}");
    }
}
