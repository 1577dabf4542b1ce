//! One search for each kind of fault, beside faults that are there already.

use super::forward::Print;
use super::numbers::{BEYOND, cost, free, line, polished, smoothed};
use super::{Cause, Fault, Shows};

/// A cause with its best numbers.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub cause: Cause,
    /// Sum of squares in usual errors.
    pub squares: f64,
    /// How many numbers were free.
    pub free: f64,
}

/// A search: the best faults of one kind, beside others that are taken as they are.
pub(super) type Search = fn(&Print, &[Fault]) -> Vec<Fault>;

/// One for each kind.
pub(super) const SEARCHES: [Search; 7] =
    [feed, slipping, all_short, swapped, lag, heights, flow_limit];

/// Those of one number or none.
pub(super) const QUICK: [Search; 2] = [swapped, lag];

/// Into how many parts the height is cut where a fault's beginning and end are first looked for.
const PARTS: usize = 8;
/// And where a fault that lasts to an end of the part is.
const EDGES: usize = 24;
/// The feeds that are tried first: little, and too much.
const LITTLE: [f64; 5] = [0.1, 0.35, 0.6, 0.78, 0.9];
const MUCH: [f64; 3] = [1.12, 1.25, 1.5];
/// The ends of feeds that grow worse that are tried first.
const GROWING: [f64; 2] = [0.1, 0.5];

/// So many of the best feeds of a drive are followed further.
const FOLLOWED: usize = 4;
/// Shifts of all heights that are tried, to each side.
const SHIFTS: i32 = 30;

/// Faults with their free numbers fitted.
pub(super) fn fitted(print: &Print, faults: &[Fault]) -> Fit {
    let faults = simplified(print, polished(print, faults));
    Fit {
        squares: cost(print, &faults),
        free: faults.iter().map(|f| free(f, print)).sum(),
        cause: Cause { faults },
    }
}

/// Heights near an end of the part are moved to it where that explains as much: a fault from
/// the bed on needs no beginning.
fn simplified(print: &Print, mut faults: Vec<Fault>) -> Vec<Fault> {
    let worth = (print.looks.len().max(2) as f64).ln();
    let top = print.top_mm();
    for at in 0..faults.len() {
        for low in [true, false] {
            let mut simpler = faults.clone();
            match simpler.get_mut(at) {
                Some(
                    Fault::Feed {
                        from_mm, until_mm, ..
                    }
                    | Fault::AllShort {
                        from_mm, until_mm, ..
                    },
                ) => match low {
                    true => *from_mm = 0.0,
                    false => *until_mm = top,
                },
                _ => continue,
            }
            if cost(print, &simpler) <= cost(print, &faults) + worth {
                faults = simpler;
            }
        }
    }
    faults
}

/// What does not agree can be told by more than colours only.
fn shows(print: &Print) -> &'static [Shows] {
    match print.has_amounts() {
        true => &[Shows::Filament, Shows::Gear, Shows::Nothing],
        false => &[Shows::Filament],
    }
}

/// Spells of height to begin with.
fn spells(print: &Print) -> Vec<(f64, f64)> {
    let at = |i: usize| print.top_mm() * i as f64 / PARTS as f64;
    (0..PARTS)
        .flat_map(|from| (from + 1..=PARTS).map(move |until| (at(from), at(until))))
        .collect()
}

/// From a height on, and until a height, finely: where many heights were seen, a change at a wrong one
/// explains less than none.
fn one_sided(print: &Print) -> impl Iterator<Item = (f64, f64)> {
    let top = print.top_mm();
    let at = move |i: usize| top * i as f64 / EDGES as f64;
    let new = (1..EDGES).filter(|i| i % (EDGES / PARTS) != 0);
    new.flat_map(move |i| [(at(i), top), (0.0, at(i))])
}

/// For each drive, that it feeds too little, and that it feeds too much; beside other faults only
/// the best of each, for that many pairs would take long.
fn feed(print: &Print, others: &[Fault]) -> Vec<Fault> {
    let of = |ratios: &'static [f64]| -> Vec<(f64, Fault)> {
        let drives = 0..print.drives();
        let mut found: Vec<_> = drives
            .filter_map(|drive| best_feed(print, others, drive, ratios))
            .collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.truncate(if others.is_empty() { usize::MAX } else { 1 });
        found
    };
    let found = of(&LITTLE).into_iter().chain(of(&MUCH));
    found.map(|(_, fault)| fault).collect()
}

/// The best feed of one drive, and what it leaves.
fn best_feed(
    print: &Print,
    others: &[Fault],
    drive: usize,
    ratios: &[f64],
) -> Option<(f64, Fault)> {
    let growing = GROWING.iter().map(|ratio| (*ratio, true));
    let growing = growing.filter(|_| ratios.iter().all(|r| *r < 1.0));
    let steady = ratios.iter().map(|ratio| (*ratio, false));
    let sizes: Vec<(f64, bool)> = steady.chain(growing).collect();
    let mut found: Vec<(f64, Fault)> = Vec::new();
    for &shows in shows(print) {
        // The best spell of each size: a small feed that is hardly seen must not hide a large one whose
        // heights are not quite found yet.
        for &(ratio, growing) in &sizes {
            let tried = |(from_mm, until_mm): (f64, f64)| {
                let fault = Fault::Feed {
                    drive,
                    ratio,
                    growing,
                    from_mm,
                    until_mm,
                    shows,
                };
                (cost(print, &with(others, &fault)), fault)
            };
            let mut places = spells(print);
            if others.is_empty() && print.is_photographed {
                places.extend(one_sided(print));
            }
            let best = places.into_iter().map(tried);
            found.extend(best.min_by(|a, b| a.0.total_cmp(&b.0)));
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let best = found.into_iter().take(FOLLOWED).map(|(_, fault)| {
        let faults = smoothed(print, &with(others, &fault));
        (
            cost(print, &faults),
            faults.last().cloned().unwrap_or(fault),
        )
    });
    best.min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The most spells of slipping that are told apart.
const MOST_SPELLS: usize = 5;

/// A drive that slips in two spells or more.
fn slipping(print: &Print, others: &[Fault]) -> Vec<Fault> {
    if !others.is_empty() {
        return Vec::new();
    }
    let spells = spells(print);
    let narrow: Vec<(f64, f64)> = spells
        .iter()
        .copied()
        .filter(|(a, b)| b - a <= 0.3 * print.top_mm())
        .collect();
    let mut best: Option<(f64, Fault)> = None;
    for drive in 0..print.drives() {
        for ratio in [0.1, 0.4, 0.7] {
            let mut fault = Fault::Slipping {
                drive,
                ratio,
                spells_mm: Vec::new(),
            };
            for count in 1..=MOST_SPELLS {
                let more = narrow.iter().filter_map(|&(from, until)| {
                    let longer = longer(&fault, [from, until])?;
                    Some((cost(print, &with(others, &longer)), longer))
                });
                let Some((found, longer)) = more.min_by(|a, b| a.0.total_cmp(&b.0)) else {
                    break;
                };
                fault = longer;
                // Every spell has two heights, which must be worth their while.
                let worth = 2.0 * count as f64 * (print.looks.len().max(2) as f64).ln();
                let found = found + worth;
                if count > 1 && best.as_ref().is_none_or(|(least, _)| found < *least) {
                    best = Some((found, fault.clone()));
                }
            }
        }
    }
    let Some((_, fault)) = best else {
        return Vec::new();
    };
    let faults = polished(print, &with(others, &fault));
    faults.last().cloned().into_iter().collect()
}

/// One more spell, if it meets none of the others.
fn longer(fault: &Fault, spell: [f64; 2]) -> Option<Fault> {
    let mut longer = fault.clone();
    let Fault::Slipping { spells_mm, .. } = &mut longer else {
        return None;
    };
    let apart = |other: &[f64; 2]| other[1] <= spell[0] || spell[1] <= other[0];
    spells_mm.iter().all(apart).then(|| {
        spells_mm.push(spell);
        spells_mm.sort_by(|a, b| a[0].total_cmp(&b[0]));
    })?;
    Some(longer)
}

/// All drives alike: colours tell little of it, filament does.
fn all_short(print: &Print, others: &[Fault]) -> Vec<Fault> {
    if !print.has_amounts() {
        return Vec::new();
    }
    let mut tries: Vec<(f64, Fault)> = Vec::new();
    for (from_mm, until_mm) in spells(print) {
        for (ratio, growing) in [(0.5, false), (0.75, false), (0.9, false), (0.6, true)] {
            let fault = Fault::AllShort {
                ratio,
                growing,
                from_mm,
                until_mm,
            };
            tries.push((cost(print, &with(others, &fault)), fault));
        }
    }
    least(tries)
}

fn swapped(print: &Print, others: &[Fault]) -> Vec<Fault> {
    let mut tries = Vec::new();
    for drive in 0..print.drives() {
        for with_drive in drive + 1..print.drives() {
            let fault = Fault::Swapped {
                drive,
                with: with_drive,
            };
            tries.push((cost(print, &with(others, &fault)), fault));
        }
    }
    least(tries)
}

fn lag(print: &Print, others: &[Fault]) -> Vec<Fault> {
    let set = print.chamber().lag_mm3();
    if set <= 0.0 {
        return Vec::new();
    }
    let fault = |log: f64| Fault::Lag {
        lag_mm3: set * log.exp(),
    };
    let log = line((0.1f64.ln(), 10f64.ln(), 24), |log| {
        cost(print, &with(others, &fault(log)))
    });
    vec![fault(log)]
}

fn heights(print: &Print, others: &[Fault]) -> Vec<Fault> {
    let Some((start, end)) = print.changes_mm().filter(|(a, b)| b - a > 1e-6) else {
        return Vec::new();
    };
    let reach = BEYOND * print.top_mm();
    let at = |middle: f64, i: usize| middle - reach + 2.0 * reach * i as f64 / 12.0;
    let mut tries = Vec::new();
    let mut tried = |start_mm: f64, end_mm: f64| {
        let fault = Fault::Heights { start_mm, end_mm };
        tries.push((cost(print, &with(others, &fault)), fault));
    };
    for i in 0..=12 {
        for j in 0..=12 {
            tried(at(start, i), at(end, j));
        }
    }
    // Bands come again every few mm: all heights together are shifted by less.
    for i in -SHIFTS..=SHIFTS {
        let shift = reach * f64::from(i) / f64::from(SHIFTS);
        tried(start + shift, end + shift);
    }
    least(tries)
}

fn flow_limit(print: &Print, others: &[Fault]) -> Vec<Fault> {
    let (low, high) = (1.0 / print.drives() as f64, print.greatest_share());
    if high <= low {
        return Vec::new();
    }
    let fault = |most_share: f64| Fault::FlowLimit { most_share };
    let found = line((low, high, 16), |m| cost(print, &with(others, &fault(m))));
    vec![fault(found)]
}

fn least(tries: Vec<(f64, Fault)>) -> Vec<Fault> {
    let best = tries.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
    best.map(|(_, fault)| fault).into_iter().collect()
}

/// Other faults and one more, which comes last.
pub(super) fn with(others: &[Fault], fault: &Fault) -> Vec<Fault> {
    let mut all = others.to_vec();
    all.push(fault.clone());
    all
}
