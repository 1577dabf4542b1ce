//! Many blends fitted into the few that a firmware can store.

use std::collections::HashMap;

use blend::{Lab, MixModel, Shares, ciede2000};
use serde::{Deserialize, Serialize};

use super::Item;
use crate::Machine;
use crate::schedule::Schedule;

/// The most different blends that are looked at one by one; more are thinned out first.
const MOST: usize = 400;

/// Blends to be stored, and what the fit costs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stored {
    /// The blends.
    pub blends: Vec<Shares>,
    /// For each item the index of its blend.
    pub of_item: Vec<usize>,
    /// The mean ΔE00 that it is off, by weight.
    pub mean_de00: f64,
    /// The greatest ΔE00 that it is off.
    pub worst_de00: f64,
}

/// Chooses at most `count` of the items' blends such that the weighted sum of squared ΔE00 of
/// all items to their nearest one is small.
///
/// Blends of two spools lie on a line, and runs of neighbours on it are clustered; of all ways
/// to do so the best is found, by dynamic programming (W. Fisher, "On Grouping for Maximum
/// Homogeneity", Journal of the American Statistical Association 53, 1958, from memory).
/// Blends of more spools are clustered by exchanging medoids until nothing improves, which need
/// not be the best way.
pub fn stored(items: &[Item], count: usize, model: &dyn MixModel) -> Stored {
    let (distinct, of_item) = distinct(items);
    let labs: Vec<Lab> = distinct
        .iter()
        .map(|i| model.mix(&i.shares).to_lab())
        .collect();
    let chosen = if distinct.len() <= count {
        (0..distinct.len()).collect()
    } else if distinct.iter().all(|i| i.shares.count() <= 2) {
        on_a_line(&distinct, &labs, count)
    } else {
        medoids(&distinct, &labs, count)
    };
    let nearest = |i: usize| {
        let off = |&c: &usize| ciede2000(labs[chosen[c]], labs[i]);
        (0..chosen.len())
            .min_by(|a, b| off(a).total_cmp(&off(b)))
            .unwrap_or(0)
    };
    let of_distinct: Vec<usize> = (0..distinct.len()).map(nearest).collect();
    let off = |i: usize| ciede2000(labs[chosen[of_distinct[i]]], labs[i]);
    let weight: f64 = distinct.iter().map(|i| i.weight).sum();
    let sum: f64 = (0..distinct.len())
        .map(|i| distinct[i].weight * off(i))
        .sum();
    Stored {
        blends: chosen.iter().map(|&c| distinct[c].shares).collect(),
        of_item: of_item.iter().map(|&i| of_distinct[i]).collect(),
        mean_de00: if weight > 0.0 { sum / weight } else { 0.0 },
        worst_de00: (0..distinct.len()).map(off).fold(0.0, f64::max),
    }
}

/// Fits all that is aimed at into the blends that a machine can store.
pub(super) fn fit(
    aims: &mut [Vec<Shares>],
    schedule: &Schedule,
    model: &dyn MixModel,
    machine: &Machine,
    count: usize,
) {
    let doses = schedule.layers.iter().flat_map(|l| &l.doses);
    let items: Vec<Item> = aims
        .iter()
        .flatten()
        .zip(doses)
        .map(|(aim, dose)| Item {
            shares: machine.fed(aim),
            weight: dose.area_mm2.max(1e-9),
        })
        .collect();
    let stored = stored(&items, count, model);
    for (aim, blend) in aims.iter_mut().flatten().zip(&stored.of_item) {
        if let Some(blend) = stored.blends.get(*blend) {
            *aim = *blend;
        }
    }
}

/// The different blends, in order, with their weights added up, and for each item which one it
/// is. If there are too many, only blends some way apart are taken for different.
fn distinct(items: &[Item]) -> (Vec<Item>, Vec<usize>) {
    let mut step = 1e-9;
    loop {
        let key = |shares: &Shares| -> Vec<i64> {
            let whole = |s: &f64| (s / step).round() as i64;
            shares.as_slice().iter().map(whole).collect()
        };
        let mut known: HashMap<Vec<i64>, usize> = HashMap::new();
        let mut found: Vec<Item> = Vec::new();
        let of_item: Vec<usize> = items
            .iter()
            .map(|item| {
                let i = *known.entry(key(&item.shares)).or_insert(found.len());
                match found.get_mut(i) {
                    Some(other) => other.weight += item.weight,
                    None => found.push(*item),
                }
                i
            })
            .collect();
        if found.len() <= MOST {
            return sorted(found, of_item);
        }
        step = (step * 4.0).max(1e-4);
    }
}

/// Items by their first share, and the places renamed to fit.
fn sorted(items: Vec<Item>, of_item: Vec<usize>) -> (Vec<Item>, Vec<usize>) {
    let mut order: Vec<usize> = (0..items.len()).collect();
    let first = |i: usize| items[i].shares.as_slice().first().copied().unwrap_or(0.0);
    order.sort_by(|&a, &b| first(a).total_cmp(&first(b)));
    let mut place = vec![0; items.len()];
    for (new, &old) in order.iter().enumerate() {
        place[old] = new;
    }
    let items = order.into_iter().map(|i| items[i]).collect();
    (items, of_item.into_iter().map(|i| place[i]).collect())
}

/// The best clusters of neighbours on a line: the medoid of each.
fn on_a_line(items: &[Item], labs: &[Lab], count: usize) -> Vec<usize> {
    let n = items.len();
    let costs = run_costs(items, labs);
    // For each number of clusters and items: the cost, and where the last cluster begins.
    let mut table = vec![vec![(f64::INFINITY, 0usize); n + 1]; count + 1];
    table[0][0].0 = 0.0;
    for k in 1..=count {
        for end in k..=n {
            for first in k - 1..end {
                let cost = table[k - 1][first].0 + costs[first][end - 1].0;
                if cost < table[k][end].0 {
                    table[k][end] = (cost, first);
                }
            }
        }
    }
    let mut chosen = Vec::new();
    let mut end = n;
    for k in (1..=count).rev() {
        let first = table[k][end].1;
        chosen.push(costs[first][end - 1].1);
        end = first;
    }
    chosen.reverse();
    chosen
}

/// For each run of items (first, last) its cost about the best medoid, and that medoid.
fn run_costs(items: &[Item], labs: &[Lab]) -> Vec<Vec<(f64, usize)>> {
    let n = items.len();
    let mut costs = vec![vec![(f64::INFINITY, 0); n]; n];
    let off: Vec<Vec<f64>> = labs
        .iter()
        .map(|a| {
            let square = |(b, item): (&Lab, &Item)| item.weight * ciede2000(*a, *b).powi(2);
            labs.iter().zip(items).map(square).collect()
        })
        .collect();
    for (medoid, off) in off.iter().enumerate() {
        // Sums from the medoid outwards, so that any run about it is one addition.
        let mut below = vec![0.0; medoid + 1];
        for first in (0..medoid).rev() {
            below[first] = below[first + 1] + off[first];
        }
        let mut above = 0.0;
        for last in medoid..n {
            above += off[last];
            for first in 0..=medoid {
                let cost = below[first] + above;
                if cost < costs[first][last].0 {
                    costs[first][last] = (cost, medoid);
                }
            }
        }
    }
    costs
}

/// Medoids, begun with the blends farthest from each other and exchanged one by one.
fn medoids(items: &[Item], labs: &[Lab], count: usize) -> Vec<usize> {
    let cost = |chosen: &[usize]| -> f64 {
        let nearest = |lab: &Lab| {
            let off = chosen.iter().map(|&c| ciede2000(labs[c], *lab));
            off.fold(f64::INFINITY, f64::min)
        };
        items
            .iter()
            .zip(labs)
            .map(|(i, lab)| i.weight * nearest(lab).powi(2))
            .sum()
    };
    let mut chosen = vec![0];
    while chosen.len() < count {
        let nearest = |i: usize| {
            let off = chosen.iter().map(|&c| ciede2000(labs[c], labs[i]));
            off.fold(f64::INFINITY, f64::min)
        };
        let Some(far) = (0..items.len()).max_by(|&a, &b| nearest(a).total_cmp(&nearest(b))) else {
            break;
        };
        chosen.push(far);
    }
    let mut best = cost(&chosen);
    // Each round moves every medoid to the best place near it; few rounds are enough.
    for _ in 0..10 {
        let before = best;
        for k in 0..chosen.len() {
            let cluster: Vec<usize> = (0..items.len())
                .filter(|&i| {
                    let off = |c: usize| ciede2000(labs[chosen[c]], labs[i]);
                    (0..chosen.len()).all(|c| off(c) >= off(k))
                })
                .collect();
            for candidate in cluster {
                let old = std::mem::replace(&mut chosen[k], candidate);
                let now = cost(&chosen);
                match now < best {
                    true => best = now,
                    false => chosen[k] = old,
                }
            }
        }
        if best >= before {
            break;
        }
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::{LinearLight, Spool, SpoolColour, Srgb};
    use proptest::prelude::*;

    fn model(count: usize) -> LinearLight {
        let codes = [[30, 40, 120], [245, 240, 220], [200, 30, 30]];
        let spools: Vec<Spool> = codes[..count]
            .iter()
            .map(|&code| Spool::new("x", SpoolColour::Hex(Srgb(code))))
            .collect();
        LinearLight::new(&spools)
    }

    fn square_cost(items: &[Item], chosen: &[usize], model: &dyn MixModel) -> f64 {
        let lab = |i: usize| model.mix(&items[i].shares).to_lab();
        (0..items.len())
            .map(|i| {
                let off = chosen.iter().map(|&c| ciede2000(lab(c), lab(i)));
                items[i].weight * off.fold(f64::INFINITY, f64::min).powi(2)
            })
            .sum()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn on_a_line_no_choice_of_two_is_better(
            picks in prop::collection::vec((0.0..1.0f64, 0.1..5.0f64), 3..9),
        ) {
            let model = model(2);
            let mut items: Vec<Item> = picks.iter().map(|&(first, weight)| Item {
                shares: Shares::new(&[first, 1.0 - first]).expect("shares"),
                weight,
            }).collect();
            items.sort_by(|a, b| a.shares.as_slice()[0].total_cmp(&b.shares.as_slice()[0]));
            let found = stored(&items, 2, &model);
            let chosen: Vec<usize> = found.blends.iter()
                .filter_map(|b| items.iter().position(|i| i.shares == *b)).collect();
            let cost = square_cost(&items, &chosen, &model);
            let mut least = f64::INFINITY;
            for a in 0..items.len() {
                for b in a + 1..items.len() {
                    least = least.min(square_cost(&items, &[a, b], &model));
                }
            }
            prop_assert!(cost <= least * (1.0 + 1e-9), "{cost} {least}");
        }

        #[test]
        fn it_fits_and_tells_what_it_costs(
            weights in prop::collection::vec(prop::collection::vec(0.01..1.0f64, 3), 1..40),
            count in 1usize..8,
        ) {
            let model = model(3);
            let items: Vec<Item> = weights.iter().map(|w| Item {
                shares: Shares::from_weights(w).expect("shares"),
                weight: 1.0,
            }).collect();
            let found = stored(&items, count, &model);
            prop_assert!(found.blends.len() <= count);
            let mut worst = 0.0f64;
            for (item, blend) in items.iter().zip(&found.of_item) {
                let (a, b) = (model.mix(&item.shares), model.mix(&found.blends[*blend]));
                worst = worst.max(ciede2000(a.to_lab(), b.to_lab()));
            }
            prop_assert!((worst - found.worst_de00).abs() < 1e-9);
            prop_assert!(found.mean_de00 <= found.worst_de00 + 1e-9);
        }
    }
}
