//! The order of doses: within each layer such that there are the fewest changes of blend over
//! the whole part.

use std::collections::HashMap;

use blend::{Lab, Shares, ciede2000};

use super::{Dose, Layer};
use crate::Plan;

/// Puts each layer's doses in print order.
///
/// Doses that the machine can't tell apart stand together. A layer can begin with the blend
/// that the one below ended with; which of its blends should come first and last is found for
/// all layers at once by dynamic programming: first the fewest changes count, then the
/// smallest colour differences across layer boundaries.
pub(super) fn arrange(layers: &mut [Layer], plan: &Plan) {
    let mut blends = Blends::default();
    let groups: Vec<Vec<usize>> = layers
        .iter()
        .map(|layer| {
            let mut ids: Vec<usize> = layer.doses.iter().map(|d| blends.id(d, plan)).collect();
            ids.sort_unstable();
            ids.dedup();
            ids
        })
        .collect();
    let ends = best_ends(&groups, &blends.colours);
    for ((layer, ids), (first, last)) in layers.iter_mut().zip(&groups).zip(ends) {
        let order = chain(ids, first, last, &blends.colours);
        let rank = |dose: &Dose| {
            let id = blends.known(dose, plan);
            order.iter().position(|&other| Some(other) == id)
        };
        layer.doses.sort_by_key(|dose| (rank(dose), dose.region));
    }
}

/// How many changes of blend there are between neighbouring doses of a machine of the plan's
/// limits.
pub(super) fn changes(layers: &[Layer], plan: &Plan) -> usize {
    let fed: Vec<Shares> = layers
        .iter()
        .flat_map(|layer| &layer.doses)
        .map(|dose| plan.machine.fed(&dose.shares))
        .collect();
    fed.windows(2).filter(|pair| pair[0] != pair[1]).count()
}

/// The blends of a part, as the machine feeds them, by number.
#[derive(Default)]
struct Blends {
    ids: HashMap<Vec<u64>, usize>,
    colours: Vec<Lab>,
}

impl Blends {
    fn key(dose: &Dose, plan: &Plan) -> Vec<u64> {
        let fed = plan.machine.fed(&dose.shares);
        fed.as_slice().iter().map(|share| share.to_bits()).collect()
    }

    fn id(&mut self, dose: &Dose, plan: &Plan) -> usize {
        let next = self.colours.len();
        let id = *self.ids.entry(Self::key(dose, plan)).or_insert(next);
        if id == next {
            self.colours.push(dose.lab);
        }
        id
    }

    fn known(&self, dose: &Dose, plan: &Plan) -> Option<usize> {
        self.ids.get(&Self::key(dose, plan)).copied()
    }
}

/// What an order costs: changes first, then colour differences.
type Cost = (usize, f64);

fn less(a: Cost, b: Cost) -> bool {
    a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).is_lt()
}

/// A way to end a layer: with which blend, at what cost so far, begun with which, and which
/// end of the layer below it goes on from.
#[derive(Clone, Copy)]
struct End {
    last: usize,
    cost: Cost,
    first: usize,
    from: usize,
}

/// The first and last blend of each layer.
fn best_ends(groups: &[Vec<usize>], colours: &[Lab]) -> Vec<(usize, usize)> {
    let mut table: Vec<Vec<End>> = Vec::with_capacity(groups.len());
    for ids in groups {
        let begun: Vec<(usize, Cost, usize)> = ids
            .iter()
            .map(|&first| {
                let (cost, from) = cheapest_entry(table.last(), first, colours);
                (first, cost, from)
            })
            .collect();
        let ends = ids.iter().filter_map(|&last| {
            let mut best: Option<End> = None;
            for &(first, cost, from) in &begun {
                if ids.len() > 1 && first == last {
                    continue;
                }
                let cost = (cost.0 + ids.len() - 1, cost.1);
                if best.is_none_or(|b| less(cost, b.cost)) {
                    best = Some(End {
                        last,
                        cost,
                        first,
                        from,
                    });
                }
            }
            best
        });
        table.push(ends.collect());
    }
    trace_back(&table)
}

/// The cheapest way to begin a layer with a blend, and which end of the layer below it is.
fn cheapest_entry(below: Option<&Vec<End>>, first: usize, colours: &[Lab]) -> (Cost, usize) {
    let mut best = ((0, 0.0), 0);
    for (i, end) in below.into_iter().flatten().enumerate() {
        let cost = match end.last == first {
            true => end.cost,
            false => {
                let step = ciede2000(colours[end.last], colours[first]);
                (end.cost.0 + 1, end.cost.1 + step)
            }
        };
        if i == 0 || less(cost, best.0) {
            best = (cost, i);
        }
    }
    best
}

fn trace_back(table: &[Vec<End>]) -> Vec<(usize, usize)> {
    let mut ends = Vec::with_capacity(table.len());
    let cheapest = |ends: &[End]| {
        let mut best = 0;
        for (i, end) in ends.iter().enumerate() {
            if less(end.cost, ends[best].cost) {
                best = i;
            }
        }
        best
    };
    let mut at = table.last().map_or(0, |ends| cheapest(ends));
    for layer in table.iter().rev() {
        match layer.get(at) {
            Some(end) => {
                ends.push((end.first, end.last));
                at = end.from;
            }
            None => ends.push((0, 0)),
        }
    }
    ends.reverse();
    ends
}

/// A layer's blends from the first to the last, each followed by the nearest in colour.
fn chain(ids: &[usize], first: usize, last: usize, colours: &[Lab]) -> Vec<usize> {
    let mut left: Vec<usize> = ids
        .iter()
        .copied()
        .filter(|&id| id != first && id != last)
        .collect();
    let mut order = vec![first];
    let mut here = first;
    while !left.is_empty() {
        let mut best = 0;
        for i in 1..left.len() {
            let step = |id: usize| ciede2000(colours[here], colours[id]);
            if step(left[i]) < step(left[best]) {
                best = i;
            }
        }
        here = left.remove(best);
        order.push(here);
    }
    if last != first {
        order.push(last);
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn colours(count: usize) -> Vec<Lab> {
        let lab = |i: usize| Lab {
            l: 10.0 * i as f64,
            a: 0.0,
            b: 0.0,
        };
        (0..count).map(lab).collect()
    }

    fn count(groups: &[Vec<usize>], ends: &[(usize, usize)]) -> usize {
        let within: usize = groups.iter().map(|g| g.len() - 1).sum();
        within + ends.windows(2).filter(|e| e[0].1 != e[1].0).count()
    }

    /// The fewest changes over every choice of ends.
    fn by_trying_all(groups: &[Vec<usize>]) -> usize {
        let mut ways: Vec<(Option<usize>, usize)> = vec![(None, 0)];
        for ids in groups {
            let mut next = Vec::new();
            for &(before, cost) in &ways {
                for &first in ids {
                    for &last in ids {
                        if ids.len() > 1 && first == last {
                            continue;
                        }
                        let enters = usize::from(before.is_some_and(|b| b != first));
                        next.push((Some(last), cost + enters + ids.len() - 1));
                    }
                }
            }
            ways = next;
        }
        ways.into_iter().map(|(_, cost)| cost).min().unwrap_or(0)
    }

    #[test]
    fn two_blends_alternate() {
        let groups = vec![vec![0, 1]; 6];
        let ends = best_ends(&groups, &colours(2));
        assert_eq!(count(&groups, &ends), 6);
    }

    proptest! {
        #[test]
        fn no_order_has_fewer_changes(
            groups in prop::collection::vec(prop::collection::btree_set(0usize..4, 1..4), 1..6),
        ) {
            let groups: Vec<Vec<usize>> =
                groups.into_iter().map(|g| g.into_iter().collect()).collect();
            let colours = colours(4);
            let ends = best_ends(&groups, &colours);
            prop_assert_eq!(count(&groups, &ends), by_trying_all(&groups));
            for (ids, &(first, last)) in groups.iter().zip(&ends) {
                let mut order = chain(ids, first, last, &colours);
                prop_assert_eq!(order.first(), Some(&first));
                prop_assert_eq!(order.last(), Some(&last));
                order.sort_unstable();
                prop_assert_eq!(&order, ids);
            }
        }
    }
}
