//! How sure a fit is: the scatter of one reading, what it does to the fitted numbers, and how far
//! the model itself is from blends that were not measured.

use super::family::SpoolMoved;
use super::fitted::{Fitted, LEAST_NOISE};
use super::sorted::Sorted;
use crate::colour::LocalMetric;
use crate::mix::{MixModel, Strand};
use crate::{Lab, Shares, ciede2000};

/// What a fit knows of its own errors.
pub(super) struct Errors {
    /// Scatter of a reading, ΔE00 in each of the three directions, if neighbouring steps tell it.
    pub reading: Option<f64>,
    /// Covariance of the fitted numbers.
    pub covariance: Vec<Vec<f64>>,
    /// The spools' own readings moved by their error.
    pub spools_moved: Vec<SpoolMoved>,
    /// Standard error of each strength as a share of it.
    pub strengths: Vec<f64>,
    /// How far the model is from unmeasured blends beyond what all that explains, ΔE00.
    pub model: f64,
}

impl Errors {
    pub(super) fn of(sorted: &Sorted, fitted: &Fitted) -> Option<Self> {
        let reading = reading_noise(sorted, fitted);
        let noise = reading.unwrap_or(fitted.noise);
        let covariance = fitted.covariance(sorted, noise)?;
        let moved = moved_values(sorted, fitted, noise);
        let strengths = strength_errors(sorted, fitted, noise, &moved)?;
        let spools_moved: Vec<SpoolMoved> = moved
            .into_iter()
            .map(|(spool, colour, values)| {
                let numbers = fitted.numbers_of(&values);
                SpoolMoved {
                    spool,
                    colour,
                    strengths: numbers.strengths,
                    surface: numbers.surface,
                    mixing: numbers.mixing,
                }
            })
            .collect();
        let covariance: Vec<Vec<f64>> = covariance
            .row_iter()
            .map(|row| row.iter().copied().collect())
            .collect();
        let gloss = sorted.specular == super::Specular::Included;
        let alternatives = moved_by_axes(&covariance)
            .into_iter()
            .map(|by| fitted.numbers().moved(gloss, &by).model(&sorted.plastics));
        let alternatives = alternatives.chain(spools_moved.iter().map(|moved| {
            let plastics = sorted.with_colour(moved.spool, moved.colour).plastics;
            moved.numbers().model(&plastics)
        }));
        let alternatives: Vec<Strand> = alternatives.collect();
        let model = model_error(sorted, fitted, reading.unwrap_or(0.0), &alternatives);
        Some(Self {
            reading,
            covariance,
            spools_moved,
            strengths,
            model,
        })
    }
}

/// How far values move along each axis of their error by one standard error.
pub(super) fn moved_by_axes(covariance: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let size = covariance.len();
    let flat = covariance.iter().flatten().copied();
    let axes = nalgebra::DMatrix::from_iterator(size, size, flat).symmetric_eigen();
    let both = axes.eigenvectors.column_iter().zip(axes.eigenvalues.iter());
    both.map(|(axis, variance)| {
        let by = axis * variance.max(0.0).sqrt();
        by.iter().copied().collect()
    })
    .collect()
}

/// Variance of a blend's colour over models that may as well be true, ΔE00 squared.
pub(super) fn variance(shares: &Shares, here: Lab, others: &[Strand]) -> f64 {
    others
        .iter()
        .map(|other| ciede2000(here, other.mix(shares).to_lab()).powi(2))
        .sum()
}

/// Scatter of a single reading, from how far each mixed step's misfit is from the line between
/// its neighbours': what the model gets wrong changes slowly along the shares and cancels out
/// (T. Gasser, L. Sroka, C. Jennen-Steinmetz, Biometrika 73, 1986; from memory). `None` where
/// fewer than three steps have neighbours.
fn reading_noise(sorted: &Sorted, fitted: &Fitted) -> Option<f64> {
    const FEWEST: usize = 3;
    let model = fitted.numbers().model(&sorted.plastics);
    let spools = sorted.spools.len();
    let mut squares = Vec::new();
    for one in 0..spools {
        for other in one + 1..spools {
            let mut walk: Vec<(f64, [f64; 3])> = sorted
                .of(&fitted.kept)
                .iter()
                .filter(|o| {
                    let rest = o.shares.as_slice().iter().enumerate();
                    rest.filter(|(i, _)| *i != one && *i != other)
                        .all(|(_, share)| *share == 0.0)
                })
                .map(|o| {
                    let place = o.shares.as_slice()[other];
                    (place, o.misfit(model.mix(&o.shares).to_lab()))
                })
                .collect();
            walk.sort_by(|a, b| a.0.total_cmp(&b.0));
            squares.extend(walk.windows(3).filter_map(off_line));
        }
    }
    let count = squares.len() as f64;
    let mean = squares.iter().sum::<f64>() / count;
    (squares.len() >= FEWEST).then(|| mean.sqrt().clamp(LEAST_NOISE, fitted.noise))
}

/// The variance that three neighbours tell, in each of the three directions.
fn off_line(three: &[(f64, [f64; 3])]) -> Option<f64> {
    let &[(a, before), (b, here), (c, after)] = three else {
        return None;
    };
    if c - a < 1e-9 {
        return None;
    }
    let w = (c - b) / (c - a);
    let gain = 1.0 + w * w + (1.0 - w) * (1.0 - w);
    let off = |i: usize| here[i] - w * before[i] - (1.0 - w) * after[i];
    Some((0..3).map(|i| off(i).powi(2)).sum::<f64>() / 3.0 / gain)
}

/// The reading of each spool alone moved by its own error along each of the three directions,
/// and the values that the mixed steps then give.
fn moved_values(sorted: &Sorted, fitted: &Fitted, noise: f64) -> Vec<(usize, Lab, Vec<f64>)> {
    let mut all = Vec::new();
    for (spool, readings) in sorted.alone.iter().enumerate() {
        if *readings == 0.0 {
            continue;
        }
        let by = noise / readings.sqrt();
        let metric = LocalMetric::at(sorted.spools[spool].xyz().to_lab());
        for colour in (0..3).filter_map(|axis| metric.moved(axis, by)) {
            let plastics = sorted.with_colour(spool, colour).plastics;
            if let Some(values) = fitted.values_with(sorted, &plastics) {
                all.push((spool, colour, values));
            }
        }
    }
    all
}

/// Standard error of each strength as a share of it: from the scatter of the mixed steps about
/// the fit, and from that of the readings of the spools alone.
fn strength_errors(
    sorted: &Sorted,
    fitted: &Fitted,
    noise: f64,
    moved: &[(usize, Lab, Vec<f64>)],
) -> Option<Vec<f64>> {
    let own = fitted.covariance(sorted, fitted.noise)?;
    let spools = sorted.spools.len();
    let times = (fitted.noise / noise).powi(2);
    let error = |i: usize| {
        let by_spools: f64 = moved
            .iter()
            .map(|(_, _, values)| (values[i] - fitted.values[i]).powi(2))
            .sum();
        (own[(i, i)].max(0.0) + times * by_spools).sqrt()
    };
    Some(
        std::iter::once(0.0)
            .chain((0..spools - 1).map(error))
            .collect(),
    )
}

/// What is left of the misses of left-out steps when the scatter of their own readings and the
/// errors of the fitted numbers are taken out.
fn model_error(sorted: &Sorted, fitted: &Fitted, reading: f64, others: &[Strand]) -> f64 {
    let model = fitted.numbers().model(&sorted.plastics);
    let missed = fitted.leave_one_out_rms().unwrap_or(fitted.rms);
    let steps = sorted.of(&fitted.kept);
    let of_numbers = steps.iter().map(|step| {
        let here = model.mix(&step.shares).to_lab();
        variance(&step.shares, here, others)
    });
    let of_numbers = of_numbers.sum::<f64>() / steps.len().max(1) as f64;
    let rest = missed * missed - 3.0 * reading * reading - of_numbers;
    rest.max(0.0).sqrt()
}
