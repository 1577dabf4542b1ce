//! A fade as the least number of constant pieces.

use blend::{Lab, MixModel, Shares, ciede2000};

/// No blend is within a bound of two colours that are further apart than this many bounds
/// (two, if ΔE00 were a metric, and some to spare because it is none).
const HOPELESS: f64 = 2.5;

/// A blend and how much it counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Item {
    /// The blend asked for.
    pub shares: Shares,
    /// Its weight, such as visible area.
    pub weight: f64,
}

/// Neighbouring items that get one blend.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The first item.
    pub first: usize,
    /// The last item.
    pub last: usize,
    /// The blend.
    pub shares: Shares,
    /// The greatest ΔE00 between it and an item's.
    pub worst_de00: f64,
}

/// Cuts a row of blends into the fewest pieces of one blend each such that no item is off by
/// more than `bound_de00`; among equally few, the one of the least weighted ΔE00.
///
/// The blend of a piece is the best of three: its middle item's, the one half-way between its
/// ends, and the weighted mean of its items. Over those the answer is the best there is, found
/// by dynamic programming (R. Bellman, "On the approximation of curves by line segments using
/// dynamic programming", Communications of the ACM 4(6), 1961, from memory). Time grows with
/// the number of items times the square of the items in a piece.
pub fn fewest_pieces(items: &[Item], bound_de00: f64, model: &dyn MixModel) -> Vec<Piece> {
    let labs: Vec<Lab> = items
        .iter()
        .map(|i| model.mix(&i.shares).to_lab())
        .collect();
    // For each number of items from the start: pieces, cost and the last piece.
    let mut best: Vec<(usize, f64, Option<Piece>)> = vec![(0, 0.0, None)];
    for last in 0..items.len() {
        let mut found: Option<(usize, f64, Option<Piece>)> = None;
        for first in (0..=last).rev() {
            if ciede2000(labs[first], labs[last]) > HOPELESS * bound_de00 {
                break;
            }
            let (piece, cost) = piece(items, &labs, first, last, model);
            if piece.worst_de00 > bound_de00 && first != last {
                continue;
            }
            let (pieces, before, _) = &best[first];
            let (pieces, cost) = (pieces + 1, before + cost);
            let better = match &found {
                None => true,
                Some((p, c, _)) => pieces < *p || (pieces == *p && cost < *c),
            };
            if better {
                found = Some((pieces, cost, Some(piece)));
            }
        }
        // A piece of one item is always there, for its own blend is off by nothing.
        best.extend(found);
    }
    let mut pieces = Vec::new();
    let mut end = items.len();
    while let Some(piece) = best.get(end).and_then(|b| b.2.clone()) {
        end = piece.first;
        pieces.push(piece);
    }
    pieces.reverse();
    pieces
}

/// The best blend for a run of items, and its weighted ΔE00.
fn piece(
    items: &[Item],
    labs: &[Lab],
    first: usize,
    last: usize,
    model: &dyn MixModel,
) -> (Piece, f64) {
    let run = &items[first..=last];
    let middle = run[(run.len() - 1) / 2].shares;
    let half_way = items[first].shares.toward(&items[last].shares, 0.5);
    let candidates = [Some(middle), Some(half_way), mean(run)];
    let mut best: Option<(Piece, f64)> = None;
    for shares in candidates.into_iter().flatten() {
        let lab = model.mix(&shares).to_lab();
        let (mut worst_de00, mut cost) = (0.0f64, 0.0);
        for (item, other) in run.iter().zip(&labs[first..=last]) {
            let off = match item.shares == shares {
                true => 0.0,
                false => ciede2000(lab, *other),
            };
            worst_de00 = worst_de00.max(off);
            cost += item.weight * off;
        }
        if best.as_ref().is_none_or(|(b, _)| worst_de00 < b.worst_de00) {
            let piece = Piece {
                first,
                last,
                shares,
                worst_de00,
            };
            best = Some((piece, cost));
        }
    }
    best.unwrap_or((
        Piece {
            first,
            last,
            shares: middle,
            worst_de00: f64::INFINITY,
        },
        0.0,
    ))
}

/// The weighted mean of blends.
fn mean(items: &[Item]) -> Option<Shares> {
    let count = items.iter().map(|i| i.shares.count()).max()?;
    let mut sum = vec![0.0; count];
    let unweighted = items.iter().all(|i| i.weight <= 0.0);
    for item in items {
        let weight = if unweighted { 1.0 } else { item.weight };
        for (s, share) in sum.iter_mut().zip(item.shares.as_slice()) {
            *s += weight * share;
        }
    }
    Shares::from_weights(&sum).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::{LinearLight, Spool, SpoolColour, Srgb};
    use proptest::prelude::*;

    fn model() -> LinearLight {
        let spool = |code| Spool::new("x", SpoolColour::Hex(Srgb(code)));
        LinearLight::new(&[spool([30, 40, 120]), spool([245, 240, 220])])
    }

    fn item(first: f64) -> Item {
        Item {
            shares: Shares::new(&[first, 1.0 - first]).expect("shares"),
            weight: 1.0,
        }
    }

    /// The fewest pieces over every way to cut.
    fn by_trying_all(items: &[Item], bound: f64, model: &dyn MixModel) -> usize {
        let labs: Vec<Lab> = items
            .iter()
            .map(|i| model.mix(&i.shares).to_lab())
            .collect();
        let cuts = items.len() - 1;
        let pieces_of = |mask: u32| -> Option<usize> {
            let (mut first, mut pieces) = (0, 0);
            for i in 0..items.len() {
                if i == cuts || mask >> i & 1 == 1 {
                    let worst = piece(items, &labs, first, i, model).0.worst_de00;
                    if worst > bound {
                        return None;
                    }
                    pieces += 1;
                    first = i + 1;
                }
            }
            Some(pieces)
        };
        (0..1u32 << cuts).filter_map(pieces_of).min().unwrap_or(0)
    }

    #[test]
    fn a_long_fade_takes_few_pieces_within_the_bound() {
        let model = model();
        let items: Vec<Item> = (0..=200).map(|i| item(f64::from(i) / 200.0)).collect();
        let few = fewest_pieces(&items, 2.0, &model);
        let many = fewest_pieces(&items, 0.5, &model);
        assert!(few.len() * 2 < many.len() && many.len() < 201);
        assert!(few.iter().all(|p| p.worst_de00 <= 2.0));
        assert_eq!((few[0].first, few[few.len() - 1].last), (0, 200));
        assert!(few.windows(2).all(|p| p[0].last + 1 == p[1].first));
        assert_eq!(fewest_pieces(&[], 1.0, &model), []);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn no_way_to_cut_has_fewer_pieces(
            shares in prop::collection::vec(0.0..1.0f64, 1..10), bound in 0.5..30.0,
        ) {
            let model = model();
            let items: Vec<Item> = shares.into_iter().map(item).collect();
            let found = fewest_pieces(&items, bound, &model);
            prop_assert_eq!(found.len(), by_trying_all(&items, bound, &model));
            prop_assert!(found.iter().all(|p| p.worst_de00 <= bound));
        }
    }
}
