//! The best few fades between heights.

use blend::{MixModel, Shares};

use super::layer::{Layer, keyed};
use super::table::FadeRow;

/// The most places at which a fade may begin that are tried.
const MOST_PLACES: usize = 56;
/// The most layers of a fade that are looked at to judge it.
const LOOKS: usize = 24;

/// The best `most` fades or fewer: the least sum of squared ΔE00 over the visible area, with
/// fades that begin and end at layers, at the places that are tried.
pub(super) fn best(layers: &[Layer], most: usize, model: &dyn MixModel) -> Vec<FadeRow> {
    let places = places(layers);
    let count = places.len().saturating_sub(1);
    if count == 0 {
        return Vec::new();
    }
    // For each stretch from a place to a later one: its cost and its fade.
    let mut fits: Vec<Vec<Option<(f64, FadeRow)>>> = vec![vec![None; count + 1]; count + 1];
    for from in 0..count {
        for to in from + 1..=count {
            let stretch = layers.get(places[from]..places[to]).unwrap_or(&[]);
            fits[from][to] = fit(stretch, model);
        }
    }
    // For each number of fades and place: the cost up to there, and where the last fade begins.
    let most = most.min(count);
    let mut table = vec![vec![(f64::INFINITY, 0usize); count + 1]; most + 1];
    table[0][0].0 = 0.0;
    for fades in 1..=most {
        for to in 1..=count {
            for from in 0..to {
                let Some((cost, _)) = fits[from][to] else {
                    continue;
                };
                let whole = table[fades - 1][from].0 + cost;
                if whole < table[fades][to].0 {
                    table[fades][to] = (whole, from);
                }
            }
        }
    }
    // Fewer, where more are no better.
    let costs = (1..=most).map(|k| table[k][count].0);
    let least = costs.fold(f64::INFINITY, f64::min);
    let mut fades = (1..=most)
        .find(|&k| table[k][count].0 <= least * (1.0 + 1e-9) + 1e-12)
        .unwrap_or(most);
    let mut rows = Vec::new();
    let mut to = count;
    while fades > 0 && to > 0 {
        let from = table[fades][to].1;
        rows.extend(fits[from][to].map(|(_, row)| row));
        (to, fades) = (from, fades - 1);
    }
    rows.reverse();
    rows
}

/// The blend of the fades at a height; that of the nearest end beyond them.
pub(super) fn at(rows: &[FadeRow], height_mm: f64) -> Option<Shares> {
    let after = rows.partition_point(|row| row.to_mm <= height_mm);
    let row = rows.get(after).or(rows.last())?;
    let t = (height_mm - row.from_mm) / (row.to_mm - row.from_mm).max(1e-9);
    Some(row.start.toward(&row.end, t))
}

/// Layers at which a fade may begin, and the end: where the region changes, and as many others
/// as there is time for.
fn places(layers: &[Layer]) -> Vec<usize> {
    let mut places: Vec<usize> = (1..layers.len())
        .filter(|&i| layers[i].region != layers[i - 1].region)
        .collect();
    if places.len() > MOST_PLACES {
        let step = places.len().div_ceil(MOST_PLACES);
        places = places.into_iter().step_by(step).collect();
    }
    let others = MOST_PLACES.saturating_sub(places.len()).max(8);
    places.extend((0..others).map(|i| layers.len() * i / others));
    places.extend([0, layers.len()]);
    places.sort_unstable();
    places.dedup();
    places
}

/// The best fade found for a stretch of layers: through its ends, or the least-squares line of
/// its shares, whichever looks better.
fn fit(layers: &[Layer], model: &dyn MixModel) -> Option<(f64, FadeRow)> {
    let (first, last) = (layers.first()?, layers.last()?);
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
    let judged = tries.into_iter().map(|row| (cost(&row), row));
    judged.min_by(|a, b| a.0.total_cmp(&b.0))
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
