//! The few blends that come nearest to many colours.
//!
//! It is the p-median problem: of all blends that can be fed, choose so many that the mean
//! difference of the wanted colours, each from its nearest blend, is least. Blends are added one by
//! one, then exchanged as long as that helps (M. B. Teitz, P. Bart, "Heuristic methods for
//! estimating the generalized vertex median of a weighted graph", Operations Research 16 (1968)
//! 955–961), and at last moved by small shares.

use rayon::prelude::*;

use super::closest::transfers;
use super::lattice::Lattice;
use super::sample::Reached;
use crate::{Lab, MixModel, Shares, Weighting, ciede2000, ciede2000_by};

/// The most blends that are chosen.
pub const MOST_BLENDS: usize = 32;

/// Blends among which is chosen before they are moved.
const CANDIDATES: usize = 1_500;

/// By how much shares are moved at last, the largest first.
const MOVES: [f64; 4] = [0.04, 0.02, 0.01, 0.005];

/// A colour that is wanted, and how much of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// The colour.
    pub lab: Lab,
    /// How much: an area, say.
    pub weight: f64,
}

/// So many blends, chosen for wanted colours.
#[derive(Clone, Debug, PartialEq)]
pub struct Palette {
    /// The blends with their predicted colours, the one for the most first.
    pub blends: Vec<Reached>,
    /// What each of them stands for: the sum of the weights.
    pub weights: Vec<f64>,
    /// The mean difference of the wanted colours from their blends, ΔE00, by weight.
    pub mean_de00: f64,
}

/// Palettes of 1, 2 and more blends, up to `most`, for wanted colours; fewer where no more can be
/// told apart. `fed` gives the blend that a machine makes of one that is asked for. Nearness is by
/// CIEDE2000 with the factors of a weighting.
///
/// ```
/// use blend::{KubelkaMunk, Spool, SpoolColour, Weighting, Xyz};
/// use blend::reach::{Wanted, palettes};
/// let colour = |code: &str| SpoolColour::Hex(code.parse().expect("a colour"));
/// let model = KubelkaMunk::new(&[
///     Spool::new("Chalk", colour("#f4f1ea")),
///     Spool::new("Deep water", colour("#12507b")),
/// ]);
/// let wanted = ["#f0efe8", "#15517a"].map(|code| Wanted { lab: colour(code).xyz().to_lab(), weight: 1.0 });
/// let found = palettes(&model, &|shares| *shares, &wanted, Weighting::default(), 3);
/// assert!(found[0].mean_de00 > 15.0 && found[1].mean_de00 < 3.0);
/// ```
pub fn palettes(
    model: &dyn MixModel,
    fed: &(dyn Fn(&Shares) -> Shares + Sync),
    wanted: &[Wanted],
    weighting: Weighting,
    most: usize,
) -> Vec<Palette> {
    let sum: f64 = wanted.iter().map(|w| w.weight).sum();
    if sum.is_nan() || sum <= 0.0 || most == 0 {
        return Vec::new();
    }
    let task = Task {
        model,
        fed,
        wanted,
        weighting,
    };
    let candidates = task.candidates();
    let costs = task.costs(&candidates);
    let mut search = Search::new(&costs, wanted);
    let mut found: Vec<Palette> = Vec::new();
    while search.chosen.len() < most.min(MOST_BLENDS).min(candidates.len()) {
        search.add();
        search.exchange();
        let chosen = search.chosen.iter().filter_map(|c| candidates.get(*c));
        let mut palette = task.moved(chosen.copied().collect());
        // A palette is never worse than a smaller one with one of its blends twice.
        if let Some(before) = found.last()
            && before.blends.len() == palette.blends.len()
        {
            break;
        }
        if let Some(before) = found.last()
            && palette.mean_de00 > before.mean_de00
        {
            let mut grown = before.blends.clone();
            grown.extend(palette.blends.first().copied());
            palette = task.moved(grown);
        }
        found.push(palette);
    }
    found
}

/// What a further blend is worth, in the mean difference, ΔE00.
const WORTH_DE00: f64 = 0.5;

impl Palette {
    /// Of palettes of 1, 2 and more blends, the place of the one to take: the first after which no
    /// further blend is worth half a ΔE00 of the mean (our choice, no source).
    pub fn recommended(means_de00: &[f64]) -> usize {
        let gains = means_de00.windows(2).map(|pair| pair[0] - pair[1]);
        let gains: Vec<f64> = gains.collect();
        gains
            .iter()
            .rposition(|gain| *gain >= WORTH_DE00)
            .map_or(0, |last| last + 1)
    }
}

struct Task<'a> {
    model: &'a dyn MixModel,
    fed: &'a (dyn Fn(&Shares) -> Shares + Sync),
    wanted: &'a [Wanted],
    weighting: Weighting,
}

impl Task<'_> {
    fn reached(&self, shares: &Shares) -> Reached {
        let shares = (self.fed)(shares);
        Reached {
            shares,
            lab: self.model.mix(&shares).to_lab(),
        }
    }

    fn candidates(&self) -> Vec<Reached> {
        let count = self.model.count();
        let lattice = Lattice::new(count, Lattice::steps_for(count, CANDIDATES));
        let mut all: Vec<Reached> = Vec::new();
        for shares in lattice {
            let reached = self.reached(&shares);
            if all
                .last()
                .is_none_or(|before| before.shares != reached.shares)
            {
                all.push(reached);
            }
        }
        all
    }

    /// For each candidate, its difference from each wanted colour, times the weight.
    fn costs(&self, candidates: &[Reached]) -> Vec<Vec<f32>> {
        let cost = |reached: &Reached| {
            let one = |w: &Wanted| (self.miss(w, reached) * w.weight) as f32;
            self.wanted.iter().map(one).collect()
        };
        candidates.par_iter().map(cost).collect()
    }

    fn miss(&self, wanted: &Wanted, reached: &Reached) -> f64 {
        ciede2000_by(wanted.lab, reached.lab, self.weighting)
    }

    /// Moves each blend by small shares as long as that helps, and counts up.
    fn moved(&self, mut blends: Vec<Reached>) -> Palette {
        let costs = |reached: &Reached| -> Vec<f64> {
            self.wanted
                .iter()
                .map(|w| self.miss(w, reached) * w.weight)
                .collect()
        };
        let mut table: Vec<Vec<f64>> = blends.iter().map(costs).collect();
        for amount in MOVES {
            let mut again = true;
            let mut rounds = 0;
            while again && rounds < 8 {
                again = false;
                rounds += 1;
                for place in 0..blends.len() {
                    again |= self.move_one(&mut blends, &mut table, place, amount);
                }
            }
        }
        self.counted(blends, &table)
    }

    fn move_one(
        &self,
        blends: &mut [Reached],
        table: &mut [Vec<f64>],
        place: usize,
        amount: f64,
    ) -> bool {
        // What the others leave.
        let others: Vec<f64> = (0..self.wanted.len())
            .map(|w| {
                let each = table
                    .iter()
                    .enumerate()
                    .filter(|(other, _)| *other != place);
                each.map(|(_, row)| row[w]).fold(f64::INFINITY, f64::min)
            })
            .collect();
        let sum = |row: &[f64]| -> f64 { row.iter().zip(&others).map(|(a, b)| a.min(*b)).sum() };
        let tried: Vec<(f64, Reached, Vec<f64>)> = transfers(blends[place].shares, amount)
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|shares| {
                let reached = self.reached(&shares);
                let miss = |w: &Wanted| self.miss(w, &reached) * w.weight;
                let row: Vec<f64> = self.wanted.iter().map(miss).collect();
                (sum(&row), reached, row)
            })
            .collect();
        let best = tried.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((cost, reached, row)) if cost < sum(&table[place]) * (1.0 - 1e-9) => {
                blends[place] = reached;
                table[place] = row;
                true
            }
            _ => false,
        }
    }

    /// The palette of blends, without those that are nearest to nothing.
    fn counted(&self, blends: Vec<Reached>, table: &[Vec<f64>]) -> Palette {
        let mut weights = vec![0.0; blends.len()];
        let (mut sum, mut all) = (0.0, 0.0);
        for (w, wanted) in self.wanted.iter().enumerate() {
            let nearest = (0..blends.len()).min_by(|a, b| table[*a][w].total_cmp(&table[*b][w]));
            if let Some(nearest) = nearest {
                weights[nearest] += wanted.weight;
                sum += ciede2000(wanted.lab, blends[nearest].lab) * wanted.weight;
                all += wanted.weight;
            }
        }
        let mut order: Vec<usize> = (0..blends.len()).filter(|b| weights[*b] > 0.0).collect();
        order.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]));
        Palette {
            blends: order.iter().map(|b| blends[*b]).collect(),
            weights: order.iter().map(|b| weights[*b]).collect(),
            mean_de00: sum / all,
        }
    }
}

/// Candidates chosen so far.
struct Search<'a> {
    costs: &'a [Vec<f32>],
    wanted: usize,
    chosen: Vec<usize>,
}

/// Of a wanted colour: its nearest chosen one, what that costs, and what the second costs.
#[derive(Clone, Copy)]
struct Near {
    first: usize,
    cost: f32,
    second: f32,
}

impl<'a> Search<'a> {
    fn new(costs: &'a [Vec<f32>], wanted: &[Wanted]) -> Self {
        Self {
            costs,
            wanted: wanted.len(),
            chosen: Vec::new(),
        }
    }

    fn near(&self) -> Vec<Near> {
        let mut near = vec![
            Near {
                first: 0,
                cost: f32::INFINITY,
                second: f32::INFINITY,
            };
            self.wanted
        ];
        for (place, candidate) in self.chosen.iter().enumerate() {
            for (near, cost) in near.iter_mut().zip(&self.costs[*candidate]) {
                if *cost < near.cost {
                    *near = Near {
                        first: place,
                        cost: *cost,
                        second: near.cost,
                    };
                } else if *cost < near.second {
                    near.second = *cost;
                }
            }
        }
        near
    }

    /// Adds the candidate that lessens the cost most.
    fn add(&mut self) {
        let near = self.near();
        let sum = |row: &Vec<f32>| -> f64 {
            row.iter()
                .zip(&near)
                .map(|(cost, near)| f64::from(cost.min(near.cost)))
                .sum()
        };
        let sums: Vec<f64> = self.costs.par_iter().map(sum).collect();
        let free = (0..sums.len()).filter(|c| !self.chosen.contains(c));
        self.chosen
            .extend(free.min_by(|a, b| sums[*a].total_cmp(&sums[*b])));
    }

    /// Exchanges a chosen candidate for another as long as that helps.
    fn exchange(&mut self) {
        // One alone is the best one already, and has no second.
        if self.chosen.len() < 2 {
            return;
        }
        for _ in 0..200 {
            let near = self.near();
            // What it costs to leave each chosen one out.
            let mut losses = vec![0.0f64; self.chosen.len()];
            for near in &near {
                losses[near.first] += f64::from(near.second - near.cost);
            }
            let gain = |row: &Vec<f32>| -> (f64, usize) {
                let mut all = 0.0;
                let mut own = losses.clone();
                for (cost, near) in row.iter().zip(&near) {
                    if *cost < near.cost {
                        all += f64::from(near.cost - cost);
                        own[near.first] -= f64::from(near.second - near.cost);
                    } else if *cost < near.second {
                        own[near.first] -= f64::from(near.second - cost);
                    }
                }
                let out = (0..own.len()).min_by(|a, b| own[*a].total_cmp(&own[*b]));
                let out = out.unwrap_or(0);
                (all - own[out], out)
            };
            let gains: Vec<(f64, usize)> = self.costs.par_iter().map(gain).collect();
            let cost: f64 = near.iter().map(|near| f64::from(near.cost)).sum();
            let free = (0..gains.len()).filter(|c| !self.chosen.contains(c));
            let best = free.max_by(|a, b| gains[*a].0.total_cmp(&gains[*b].0));
            match best {
                Some(best) if gains[best].0 > 1e-6 * cost => self.chosen[gains[best].1] = best,
                _ => return,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{KubelkaMunk, Spool, SpoolColour, Srgb, Xyz};

    fn model(codes: &[[u8; 3]]) -> KubelkaMunk {
        let spool = |code: &[u8; 3]| Spool::new("x", SpoolColour::Hex(Srgb(*code)));
        KubelkaMunk::new(&codes.iter().map(spool).collect::<Vec<_>>())
    }

    fn some_colours(count: u32) -> Vec<Wanted> {
        let colour = |i: u32| {
            let code = i.wrapping_mul(2_654_435_761).to_be_bytes();
            Wanted {
                lab: Xyz::from_srgb(Srgb([code[0], code[1], code[2]])).to_lab(),
                weight: 1.0 + f64::from(i % 7),
            }
        };
        (1..=count).map(colour).collect()
    }

    #[test]
    fn no_pair_of_a_fine_lattice_is_better() {
        let model = model(&[[240, 235, 225], [30, 60, 140], [190, 40, 40]]);
        let wanted = some_colours(60);
        let found = palettes(&model, &|s| *s, &wanted, Weighting::default(), 4);
        let all: Vec<Lab> = Lattice::new(3, 20)
            .map(|s| model.mix(&s).to_lab())
            .collect();
        let miss: Vec<Vec<f64>> = all
            .iter()
            .map(|lab| {
                wanted
                    .iter()
                    .map(|w| w.weight * ciede2000(w.lab, *lab))
                    .collect()
            })
            .collect();
        let whole: f64 = wanted.iter().map(|w| w.weight).sum();
        let mut best = f64::INFINITY;
        for i in 0..all.len() {
            for j in 0..i {
                let pairs = miss[i].iter().zip(&miss[j]);
                best = best.min(pairs.map(|(a, b)| a.min(*b)).sum::<f64>() / whole);
            }
        }
        assert!(
            found[1].mean_de00 <= best + 1e-6,
            "{} {best}",
            found[1].mean_de00
        );
        let means: Vec<f64> = found.iter().map(|p| p.mean_de00).collect();
        assert!(means.windows(2).all(|pair| pair[1] <= pair[0]), "{means:?}");
    }

    #[test]
    fn lightness_may_come_first() {
        let model = model(&[[250, 250, 250], [20, 20, 20], [40, 70, 220]]);
        let wanted = [Wanted {
            lab: Lab {
                l: 62.0,
                a: 45.0,
                b: 40.0,
            },
            weight: 1.0,
        }];
        let off = |weighting| {
            let found = palettes(&model, &|s| *s, &wanted, weighting, 1);
            (found[0].blends[0].lab.l - 62.0).abs()
        };
        assert!(
            off(Weighting::LIGHTNESS) < 1.5,
            "{}",
            off(Weighting::LIGHTNESS)
        );
    }

    #[test]
    fn few_colours_need_few_blends() {
        let model = model(&[[240, 235, 225], [30, 60, 140]]);
        let one = [Wanted {
            lab: model
                .mix(&Shares::new(&[0.3, 0.7]).expect("shares"))
                .to_lab(),
            weight: 2.0,
        }];
        let found = palettes(&model, &|s| *s, &one, Weighting::default(), 5);
        assert_eq!(found.len(), 1);
        assert!(found[0].mean_de00 < 0.3);
        assert!(palettes(&model, &|s| *s, &[], Weighting::default(), 5).is_empty());
        assert_eq!(Palette::recommended(&[9.0, 4.0, 3.8, 3.7]), 1);
        assert_eq!(Palette::recommended(&[9.0]), 0);
        assert_eq!(Palette::recommended(&[9.0, 8.9, 4.0]), 2);
    }
}
