//! The free numbers of a fault, and their best values.

use super::Fault;
use super::forward::Print;

/// A free number of a fault.
#[derive(Clone, Copy, Debug)]
struct Number {
    value: f64,
    low: f64,
    high: f64,
    /// How far about its value the search begins.
    reach: f64,
}

/// How often each number is looked at in turn.
const ROUNDS: usize = 4;
const FEWER_ROUNDS: usize = 2;
/// Steps of a search along one number.
const STEPS: usize = 9;
/// No feed is thought to be more than so many times what is told.
const MOST_RATIO: f64 = 2.0;
/// Changes that are not all on the part are not stretched by more: their ends were not seen.
const MOST_STRETCHED: f64 = 1.25;
/// Changes at wrong heights may begin so far below the bed, or end so far above the top, that nothing
/// of them is printed: a share of the part's height.
pub(super) const BEYOND: f64 = 0.4;

/// Searches the free numbers of some faults, one after the other, for the least misfit.
pub(super) fn polished(print: &Print, faults: &[Fault]) -> Vec<Fault> {
    searched(print, faults, ROUNDS)
}

/// The same in fewer rounds, to see which is worth more.
pub(super) fn smoothed(print: &Print, faults: &[Fault]) -> Vec<Fault> {
    searched(print, faults, FEWER_ROUNDS)
}

fn searched(print: &Print, faults: &[Fault], rounds: usize) -> Vec<Fault> {
    let mut faults = faults.to_vec();
    let mut wide = 1.0;
    for _ in 0..rounds {
        for at in 0..faults.len() {
            let numbers = faults.get(at).map_or(Vec::new(), |f| numbers(f, print));
            for (which, number) in numbers.iter().enumerate() {
                let reach = number.reach * wide;
                let (low, high) = (
                    (number.value - reach).max(number.low),
                    (number.value + reach).min(number.high),
                );
                if high <= low {
                    continue;
                }
                let tried = |value: f64| -> Vec<Fault> {
                    let mut tried = faults.clone();
                    if let Some(fault) = tried.get_mut(at) {
                        set(fault, which, value);
                    }
                    tried
                };
                let cost = |value: f64| cost(print, &tried(value));
                let found = golden(low, high, STEPS, cost);
                // The grid's place may be better than any that was tried.
                if cost(found) < cost(number.value) {
                    faults = tried(found);
                }
            }
        }
        wide *= 0.5;
    }
    faults
}

/// What is left unexplained; without an end where faults can't be.
pub(super) fn cost(print: &Print, faults: &[Fault]) -> f64 {
    match faults.iter().all(|f| can_be(f, print)) {
        true => print.misfit(faults).squares,
        false => f64::INFINITY,
    }
}

/// Whether its heights are in order, on the part, and some way apart.
fn can_be(fault: &Fault, print: &Print) -> bool {
    let least = 0.02 * print.top_mm();
    match fault {
        Fault::Feed {
            from_mm, until_mm, ..
        }
        | Fault::AllShort {
            from_mm, until_mm, ..
        } => until_mm - from_mm >= least,
        Fault::Slipping { spells_mm, .. } => spells_mm.iter().all(|[a, b]| b - a >= 0.5 * least),
        Fault::Heights { start_mm, end_mm } => {
            let inside = *start_mm >= 0.0 && *end_mm <= print.top_mm();
            end_mm - start_mm >= least && (inside || is_shift(print, end_mm - start_mm))
        }
        Fault::Swapped { .. } | Fault::Lag { .. } | Fault::FlowLimit { .. } => true,
    }
}

/// Whether all changes are shifted by about as much.
fn is_shift(print: &Print, length_mm: f64) -> bool {
    print.changes_mm().is_some_and(|(from, to)| {
        let stretched = length_mm / (to - from).max(1e-9);
        (1.0 / MOST_STRETCHED..MOST_STRETCHED).contains(&stretched)
    })
}

fn numbers(fault: &Fault, print: &Print) -> Vec<Number> {
    let top = print.top_mm();
    let number = |value: f64, low: f64, high: f64, reach: f64| Number {
        value,
        low,
        high,
        reach,
    };
    let height = |value: f64| number(value, 0.0, top, 0.13 * top);
    let ratio = |value: f64| match value < 1.0 {
        true => number(value, 0.0, 0.995, 0.15),
        false => number(value, 1.005, MOST_RATIO, 0.15),
    };
    match fault {
        Fault::Feed {
            ratio: r,
            from_mm,
            until_mm,
            ..
        }
        | Fault::AllShort {
            ratio: r,
            from_mm,
            until_mm,
            ..
        } => vec![ratio(*r), height(*from_mm), height(*until_mm)],
        Fault::Slipping {
            ratio: r,
            spells_mm,
            ..
        } => {
            let mut all = vec![ratio(*r)];
            all.extend(spells_mm.iter().flatten().map(|mm| height(*mm)));
            all
        }
        Fault::Swapped { .. } => Vec::new(),
        Fault::Lag { lag_mm3 } => {
            let set = print.chamber().lag_mm3();
            vec![number(*lag_mm3, 0.1 * set, 10.0 * set, 0.25 * lag_mm3)]
        }
        Fault::Heights { start_mm, end_mm } => {
            let beyond = BEYOND * top;
            let height = |value: f64| number(value, -beyond, top + beyond, 0.13 * top);
            vec![height(*start_mm), height(*end_mm)]
        }
        Fault::FlowLimit { most_share } => {
            let least = 1.0 / print.drives() as f64;
            vec![number(*most_share, least, print.greatest_share(), 0.08)]
        }
    }
}

fn set(fault: &mut Fault, which: usize, value: f64) {
    let place = match fault {
        Fault::Feed {
            ratio,
            from_mm,
            until_mm,
            ..
        }
        | Fault::AllShort {
            ratio,
            from_mm,
            until_mm,
            ..
        } => match which {
            0 => Some(ratio),
            1 => Some(from_mm),
            _ => Some(until_mm),
        },
        Fault::Slipping {
            ratio, spells_mm, ..
        } => match which.checked_sub(1) {
            None => Some(ratio),
            Some(i) => spells_mm.iter_mut().flatten().nth(i),
        },
        Fault::Swapped { .. } => None,
        Fault::Lag { lag_mm3 } => Some(lag_mm3),
        Fault::Heights { start_mm, end_mm } => Some(if which == 0 { start_mm } else { end_mm }),
        Fault::FlowLimit { most_share } => Some(most_share),
    };
    if let Some(place) = place {
        *place = value;
    }
}

/// How many numbers of a fault were free: which drive and what of it shows count as one, and a
/// height at an end of the part as none.
pub(super) fn free(fault: &Fault, print: &Print) -> f64 {
    let inner = |mm: f64| match mm > 1e-6 && mm < print.top_mm() - 1e-6 {
        true => 1.0,
        false => 0.0,
    };
    match fault {
        Fault::Feed {
            from_mm, until_mm, ..
        } => 2.0 + inner(*from_mm) + inner(*until_mm),
        Fault::AllShort {
            from_mm, until_mm, ..
        } => 1.0 + inner(*from_mm) + inner(*until_mm),
        Fault::Slipping { spells_mm, .. } => {
            2.0 + spells_mm.iter().flatten().map(|mm| inner(*mm)).sum::<f64>()
        }
        Fault::Swapped { .. } => {
            if print.drives() > 2 {
                1.0
            } else {
                0.0
            }
        }
        Fault::Lag { .. } | Fault::FlowLimit { .. } => 1.0,
        Fault::Heights { .. } => 2.0,
    }
}

/// The least place of a function between two ends: looked for on a grid, then narrowed down by
/// golden sections.
pub(super) fn line((low, high, count): (f64, f64, usize), cost: impl Fn(f64) -> f64) -> f64 {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn searches_find_the_least_place() {
        let x = line((-3.0, 5.0, 8), |x| {
            (x - 1.234).powi(2) + 0.1 * (9.0 * x).sin()
        });
        assert!((x - 1.234).abs() < 0.3);
    }
}
