//! A section's items in their order.

use std::collections::HashSet;

use super::atoms::Cut;
use super::lay::Item;
use super::planned::Doing;

/// A section's items: group by group in the file's own order, with plastic that nobody sees and
/// then a purge before each change.
///
/// With `keeps_order` every atom stays in the file's order, with the purge before the first atom
/// of each group.
pub(super) fn sequence(
    cut: &Cut,
    doing: &Doing,
    keeps_order: bool,
    purge: &mut dyn FnMut(f64) -> Item,
) -> Vec<Item> {
    if keeps_order {
        return in_file_order(cut, doing, purge);
    }
    let mut free: Vec<usize> = indices(cut, None);
    let mut items = Vec::with_capacity(cut.atoms.len() + doing.changes.len());
    let mut at: Option<[f64; 3]> = None;
    for (place, group) in doing.order.iter().enumerate() {
        if let Some(change) = doing.changes.iter().find(|c| c.before == place) {
            let mut hidden = 0.0;
            while hidden < change.free_mm3 - 1e-9 {
                let Some(next) = nearest(cut, &free, at) else {
                    break;
                };
                let index = free.remove(next);
                if let Some(atom) = cut.atoms.get(index) {
                    hidden += atom.volume_mm3;
                    at = Some(atom.to_mm);
                }
                items.push(Item::Atom(index));
            }
            if change.purge_mm3 > 1e-6 {
                items.push(purge(change.purge_mm3));
            }
        }
        // What lies behind the skin goes before it, where the file has it so: it takes up the
        // end of the change.
        let change = doing.changes.iter().find(|c| c.before == place);
        let mut own = indices(cut, Some(*group));
        if change.is_some_and(|change| change.behind_mm3 > 0.0) {
            let behind = |index: &usize| cut.atoms.get(*index).is_some_and(|atom| atom.behind);
            own.sort_by_key(|index| !behind(index));
        }
        for index in own {
            at = cut.atoms.get(index).map(|atom| atom.to_mm);
            items.push(Item::Atom(index));
        }
    }
    // What is left asks for nothing.
    items.extend(free.into_iter().map(Item::Atom));
    let held: HashSet<usize> = items
        .iter()
        .filter_map(|item| match item {
            Item::Atom(index) => Some(*index),
            Item::Purge { .. } => None,
        })
        .collect();
    items.extend(
        (0..cut.atoms.len())
            .filter(|i| !held.contains(i))
            .map(Item::Atom),
    );
    items
}

fn in_file_order(cut: &Cut, doing: &Doing, purge: &mut dyn FnMut(f64) -> Item) -> Vec<Item> {
    let mut items = Vec::with_capacity(cut.atoms.len() + doing.changes.len());
    let mut begun: HashSet<u32> = HashSet::new();
    for (index, atom) in cut.atoms.iter().enumerate() {
        if let Some(group) = atom.asks
            && begun.insert(group)
            && let Some(change) = doing.changes.iter().find(|c| c.to == group)
            && change.purge_mm3 > 1e-6
        {
            items.push(purge(change.purge_mm3));
        }
        items.push(Item::Atom(index));
    }
    items
}

fn indices(cut: &Cut, asks: Option<u32>) -> Vec<usize> {
    let atoms = cut.atoms.iter().enumerate();
    atoms
        .filter(|(_, atom)| atom.asks == asks)
        .map(|(index, _)| index)
        .collect()
}

/// The place in a list of the atom that begins nearest, of the first few hundred.
fn nearest(cut: &Cut, free: &[usize], at: Option<[f64; 3]>) -> Option<usize> {
    let Some(at) = at else {
        return (!free.is_empty()).then_some(0);
    };
    let far = |index: &usize| {
        cut.atoms.get(*index).map_or(f64::INFINITY, |atom| {
            (atom.from_mm[0] - at[0]).hypot(atom.from_mm[1] - at[1])
        })
    };
    let near = free.iter().take(400).enumerate();
    near.min_by(|a, b| far(a.1).total_cmp(&far(b.1)))
        .map(|(place, _)| place)
}

/// Takes a length off the front of chains, mm.
pub(super) fn taken(chains: &mut Vec<Vec<[f64; 2]>>, mut length_mm: f64) -> Vec<Vec<[f64; 2]>> {
    let mut found: Vec<Vec<[f64; 2]>> = Vec::new();
    while length_mm > 0.5
        && let Some(chain) = chains.first_mut()
    {
        let mut part: Vec<[f64; 2]> = chain.first().copied().into_iter().collect();
        let mut used = 1;
        let mut stop = None;
        for pair in chain.windows(2) {
            let [a, b] = pair else { continue };
            let way = (a[0] - b[0]).hypot(a[1] - b[1]);
            if way > length_mm + 0.5 {
                // A line just taken whole may have been longer than what was left.
                let t = (length_mm / way).max(0.0);
                let round = |v: f64| (v * 1000.0).round() / 1000.0;
                stop = Some([
                    round(a[0] + (b[0] - a[0]) * t),
                    round(a[1] + (b[1] - a[1]) * t),
                ]);
                break;
            }
            length_mm -= way;
            part.push(*b);
            used += 1;
        }
        match stop {
            Some(stop) => {
                part.push(stop);
                chain.drain(..used);
                chain.insert(0, stop);
                found.push(part);
                break;
            }
            None => {
                chains.remove(0);
                found.push(part);
            }
        }
    }
    found.retain(|chain| chain.len() > 1);
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Places in a file have three decimals.
    const HAIR_MM: f64 = 1e-3;

    fn length_mm(chains: &[Vec<[f64; 2]>]) -> f64 {
        let pairs = chains.iter().flat_map(|chain| chain.windows(2));
        pairs
            .map(|pair| (pair[0][0] - pair[1][0]).hypot(pair[0][1] - pair[1][1]))
            .sum()
    }

    proptest! {
        #[test]
        fn what_is_taken_lies_on_the_chain_and_the_rest_follows(
            inner in 5.0..30.0f64, gap in 0.3..3.0f64, lines in 2_u32..20,
            takes in prop::collection::vec(0.0..60.0f64, 1..12),
        ) {
            let mut chain = Vec::new();
            for line in 0..lines {
                let ends = if line % 2 == 0 { [0.0, inner] } else { [inner, 0.0] };
                chain.extend(ends.map(|x| [x, gap * f64::from(line)]));
            }
            let high = gap * f64::from(lines - 1);
            let mut left = vec![chain];
            let all_mm = length_mm(&left);
            let (mut sum_mm, mut most_mm) = (0.0, 0.0);
            for take in takes {
                let part = taken(&mut left, take);
                for [x, y] in part.iter().flatten() {
                    prop_assert!((-HAIR_MM..=inner + HAIR_MM).contains(x), "{x}");
                    prop_assert!((-HAIR_MM..=high + HAIR_MM).contains(y), "{y}");
                }
                sum_mm += length_mm(&part);
                // A line that ends so soon after is taken whole.
                most_mm += take + 0.51;
                prop_assert!(sum_mm <= most_mm, "{sum_mm} {most_mm}");
            }
            prop_assert!((sum_mm + length_mm(&left) - all_mm).abs() < 0.01 * f64::from(lines));
        }
    }
}
