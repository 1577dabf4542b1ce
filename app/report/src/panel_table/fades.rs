//! The best few fades between heights.

use std::collections::HashMap;

use blend::{MixModel, Shares};

use super::layer::{Layer, keyed};
use super::table::{FadeRow, Outside};

/// The most places at which a fade may begin or end that are tried.
const MOST_PLACES: usize = 56;
/// The most of them that are where the blend begins or ceases to change.
const MOST_CORNERS: usize = 28;
/// The most layers of a fade that are looked at to judge it.
const LOOKS: usize = 24;

/// The best `most` fades or fewer: the least sum of squared ΔE00 over the visible area, with
/// fades that begin and end at layers, at the places that are tried; their ends are then moved
/// layer by layer while that helps.
pub(super) fn best(
    layers: &[Layer],
    most: usize,
    outside: Outside,
    model: &dyn MixModel,
) -> Vec<FadeRow> {
    let places = places(layers);
    let mut search = Search {
        layers,
        outside,
        model,
        held: HashMap::new(),
    };
    let rows = search.best(&places, most);
    search.moved(rows)
}

/// The blend of the fades at a height: between them the blend that the one below ended with,
/// and below the first the one that it begins with.
pub(super) fn at(rows: &[FadeRow], height_mm: f64) -> Option<Shares> {
    let begun = rows.partition_point(|row| row.from_mm <= height_mm);
    let Some(row) = begun.checked_sub(1).and_then(|i| rows.get(i)) else {
        return rows.first().map(|row| row.start);
    };
    let t = (height_mm - row.from_mm) / (row.to_mm - row.from_mm).max(1e-9);
    Some(match t < 1.0 {
        true => row.start.toward(&row.end, t),
        false => row.end,
    })
}

/// Layers at which a fade may begin or end, and the end: where the region changes, where the
/// blend begins or ceases to change, and as many others as there is time for.
fn places(layers: &[Layer]) -> Vec<usize> {
    let changes = (1..layers.len()).filter(|&i| layers[i].region != layers[i - 1].region);
    let mut corners: Vec<(f64, usize)> = changes.map(|i| (f64::INFINITY, i)).collect();
    let share = |layer: &Layer, i: usize| layer.main.as_slice().get(i).copied().unwrap_or(0.0);
    for (i, three) in layers.windows(3).enumerate() {
        let bend = (0..three[0].main.count())
            .map(|c| (share(&three[0], c) - 2.0 * share(&three[1], c) + share(&three[2], c)).abs())
            .fold(0.0, f64::max);
        if bend > 1e-4 {
            // The corner is at either end of the middle layer.
            corners.extend([(bend, i + 1), (bend, i + 2)]);
        }
    }
    corners.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut places: Vec<usize> = corners.iter().take(MOST_CORNERS).map(|c| c.1).collect();
    let others = MOST_PLACES.saturating_sub(places.len()).max(8);
    places.extend((0..others).map(|i| layers.len() * i / others));
    places.extend([0, layers.len()]);
    places.sort_unstable();
    places.dedup();
    places
}

struct Search<'a> {
    layers: &'a [Layer],
    outside: Outside,
    model: &'a dyn MixModel,
    /// For each blend the cost of all layers up to each one, if they are laid in it.
    held: HashMap<Vec<u64>, Vec<f64>>,
}

/// The best way found to a place with so many fades, each followed by what is held after it.
#[derive(Clone, Copy)]
struct Step {
    cost: f64,
    /// The last fade, and the place where it begins.
    last: Option<(FadeRow, usize)>,
}

impl Search<'_> {
    fn best(&mut self, places: &[usize], most: usize) -> Vec<FadeRow> {
        let count = places.len().saturating_sub(1);
        let nowhere = Step {
            cost: f64::INFINITY,
            last: None,
        };
        let most = most.min(count);
        let mut table = vec![vec![nowhere; count + 1]; most + 1];
        if count == 0 || most == 0 {
            return Vec::new();
        }
        let fits = self.fits(places);
        for fades in 1..=most {
            for (from, to, cost, row) in &fits {
                let before = match fades {
                    1 => self.below(places[*from], row),
                    _ => table[fades - 1][*from].cost,
                };
                if !before.is_finite() {
                    continue;
                }
                for until in *to..=count {
                    let may_hold = match self.outside {
                        Outside::Hold => true,
                        Outside::Ends => until == *to || until == count,
                        Outside::Unknown => until == *to,
                    };
                    if !may_hold {
                        continue;
                    }
                    let held = self.held(&row.end, places[*to], places[until]);
                    let whole = before + cost + held;
                    if whole < table[fades][until].cost {
                        table[fades][until] = Step {
                            cost: whole,
                            last: Some((*row, *from)),
                        };
                    }
                }
            }
        }
        // Fewer, where more are no better.
        let costs = (1..=most).map(|k| table[k][count].cost);
        let least = costs.fold(f64::INFINITY, f64::min);
        let mut fades = (1..=most)
            .find(|&k| table[k][count].cost <= least * (1.0 + 1e-9) + 1e-12)
            .unwrap_or(most);
        let mut rows = Vec::new();
        let mut at = count;
        while fades > 0 {
            let Some((row, from)) = table[fades][at].last else {
                break;
            };
            rows.push(row);
            (at, fades) = (from, fades - 1);
        }
        rows.reverse();
        rows
    }

    /// What the layers below the first fade cost, which are laid as it begins.
    fn below(&mut self, from: usize, row: &FadeRow) -> f64 {
        match (from, self.outside) {
            (0, _) => 0.0,
            (_, Outside::Unknown) => f64::INFINITY,
            _ => self.held(&row.start, 0, from),
        }
    }

    /// For each stretch from a place to a later one fades that suit it, with their costs.
    fn fits(&self, places: &[usize]) -> Vec<(usize, usize, f64, FadeRow)> {
        let mut fits = Vec::new();
        for (from, &low) in places.iter().enumerate() {
            for (to, &high) in places.iter().enumerate().skip(from + 1) {
                let stretch = self.layers.get(low..high).unwrap_or(&[]);
                for (cost, row) in fitted(stretch, self.model) {
                    fits.push((from, to, cost, row));
                }
            }
        }
        fits
    }

    /// The cost of some layers, if they are laid in one blend.
    fn held(&mut self, blend: &Shares, from: usize, until: usize) -> f64 {
        if until <= from {
            return 0.0;
        }
        let key = blend.as_slice().iter().map(|s| s.to_bits()).collect();
        let sums = self.held.entry(key).or_insert_with(|| {
            let lab = self.model.mix(blend).to_lab();
            let mut sum = 0.0;
            let costs = self.layers.iter().map(|layer| {
                sum += layer.cost(lab);
                sum
            });
            std::iter::once(0.0).chain(costs).collect()
        });
        let at = |i: usize| sums.get(i).copied().unwrap_or(0.0);
        at(until) - at(from)
    }

    /// Moves the ends of fades layer by layer, and their blends step by step, while that helps.
    fn moved(&self, mut rows: Vec<FadeRow>) -> Vec<FadeRow> {
        let mut cost = self.cost(&rows);
        let mut stride = (self.layers.len() / 16).clamp(1, 8);
        loop {
            let mut better = false;
            for i in 0..rows.len() {
                for tried in self.neighbours(&rows, i, stride) {
                    let found = self.cost(&tried);
                    if found < cost * (1.0 - 1e-9) {
                        (rows, cost, better) = (tried, found, true);
                    }
                }
            }
            if !better {
                if stride == 1 {
                    return rows;
                }
                stride /= 2;
            }
        }
    }

    /// The same rows with one of them changed a little.
    fn neighbours(&self, rows: &[FadeRow], i: usize, stride: usize) -> Vec<Vec<FadeRow>> {
        let mut found = Vec::new();
        let Some(row) = rows.get(i) else {
            return found;
        };
        let mut add = |changed: FadeRow| {
            let mut rows = rows.to_vec();
            if let Some(place) = rows.get_mut(i) {
                *place = changed;
            }
            // Where nothing may be left between fades, a neighbour moves along.
            if self.outside != Outside::Hold {
                let below = i.checked_sub(1);
                if let Some(below) = below.and_then(|b| rows.get_mut(b)) {
                    below.to_mm = changed.from_mm;
                }
                if let Some(above) = rows.get_mut(i + 1) {
                    above.from_mm = changed.to_mm;
                }
            }
            let sound = rows.iter().all(|r| r.to_mm > r.from_mm + 1e-9)
                && rows.windows(2).all(|r| r[0].to_mm <= r[1].from_mm + 1e-9)
                && (self.outside != Outside::Unknown || self.covers(&rows));
            if sound {
                found.push(rows);
            }
        };
        for by in [-(stride as isize), stride as isize] {
            if let Some(from_mm) = self.layer_end(row.from_mm, by) {
                add(FadeRow { from_mm, ..*row });
            }
            if let Some(to_mm) = self.layer_end(row.to_mm, by) {
                add(FadeRow { to_mm, ..*row });
            }
        }
        // Each end, or both, toward the other blends of the table or toward a spool.
        let count = row.start.count();
        let spools: Vec<Shares> = (0..count).filter_map(|i| Shares::pure(i, count)).collect();
        let mut ways = vec![(row.start, row.end, 0.25), (row.end, row.start, 0.25)];
        for one in &spools {
            for other in &spools {
                ways.extend([0.15, 0.04, 0.015].map(|part| (*one, *other, part)));
            }
        }
        for (one, other, part) in ways {
            let start = keyed(&row.start.toward(&one, part));
            let end = keyed(&row.end.toward(&other, part));
            add(FadeRow { start, ..*row });
            add(FadeRow { end, ..*row });
            add(FadeRow { start, end, ..*row });
        }
        found
    }

    fn covers(&self, rows: &[FadeRow]) -> bool {
        let ends = (self.layers.first(), self.layers.last());
        match (rows.first(), rows.last(), ends) {
            (Some(first), Some(last), (Some(bottom), Some(top))) => {
                (first.from_mm - bottom.bottom_mm).abs() < 1e-9
                    && (last.to_mm - top.top_mm).abs() < 1e-9
            }
            _ => false,
        }
    }

    /// The end of a layer that lies some layers above another one.
    fn layer_end(&self, height_mm: f64, by: isize) -> Option<f64> {
        let next = self
            .layers
            .partition_point(|l| l.bottom_mm < height_mm - 1e-9);
        let at = next.checked_add_signed(by)?;
        match self.layers.get(at) {
            Some(layer) => Some(layer.bottom_mm),
            None if at == self.layers.len() => self.layers.last().map(|l| l.top_mm),
            None => None,
        }
    }

    fn cost(&self, rows: &[FadeRow]) -> f64 {
        let cost = |layer: &Layer| {
            let shares = at(rows, 0.5 * (layer.bottom_mm + layer.top_mm));
            shares.map_or(f64::INFINITY, |s| layer.cost(self.model.mix(&s).to_lab()))
        };
        self.layers.iter().map(cost).sum()
    }
}

/// Fades for a stretch of layers with their costs: through its ends, the least-squares line of
/// its shares, and one blend.
fn fitted(layers: &[Layer], model: &dyn MixModel) -> Vec<(f64, FadeRow)> {
    let (Some(first), Some(last)) = (layers.first(), layers.last()) else {
        return Vec::new();
    };
    let row = |start: Shares, end: Shares| FadeRow {
        from_mm: first.bottom_mm,
        to_mm: last.top_mm,
        start: keyed(&start),
        end: keyed(&end),
    };
    let mut tries = vec![row(first.main, last.main)];
    if let Some((start, end)) = line(layers) {
        tries.push(row(start, end));
        let middle = start.toward(&end, 0.5);
        tries.push(row(middle, middle));
    }
    tries.dedup();
    let step = layers.len().div_ceil(LOOKS).max(1);
    let cost = |row: &FadeRow| -> f64 {
        let looked = layers.iter().step_by(step);
        let sum: f64 = looked
            .map(|layer| {
                let shares = at(&[*row], 0.5 * (layer.bottom_mm + layer.top_mm));
                shares.map_or(0.0, |s| layer.cost(model.mix(&s).to_lab()))
            })
            .sum();
        sum * step as f64
    };
    tries.into_iter().map(|row| (cost(&row), row)).collect()
}

/// The weighted least-squares line of the shares over height, at the stretch's ends.
fn line(layers: &[Layer]) -> Option<(Shares, Shares)> {
    let (first, last) = (layers.first()?, layers.last()?);
    let middle = |l: &Layer| 0.5 * (l.bottom_mm + l.top_mm);
    let weight = |l: &Layer| l.area_mm2().max(1e-9);
    let whole: f64 = layers.iter().map(weight).sum();
    let mean_z = layers.iter().map(|l| weight(l) * middle(l)).sum::<f64>() / whole;
    let spread: f64 = layers
        .iter()
        .map(|l| weight(l) * (middle(l) - mean_z).powi(2))
        .sum();
    let count = first.main.count();
    let (mut start, mut end) = (Vec::new(), Vec::new());
    for component in 0..count {
        let share = |l: &Layer| l.main.as_slice().get(component).copied().unwrap_or(0.0);
        let mean = layers.iter().map(|l| weight(l) * share(l)).sum::<f64>() / whole;
        let slope = match spread > 1e-12 {
            true => {
                let joint = |l: &Layer| weight(l) * (middle(l) - mean_z) * (share(l) - mean);
                layers.iter().map(joint).sum::<f64>() / spread
            }
            false => 0.0,
        };
        start.push((mean + slope * (first.bottom_mm - mean_z)).max(0.0));
        end.push((mean + slope * (last.top_mm - mean_z)).max(0.0));
    }
    Some((
        Shares::from_weights(&start).ok()?,
        Shares::from_weights(&end).ok()?,
    ))
}
