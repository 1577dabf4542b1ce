//! The fit to where changes began and ended.

use blend::{LinearLight, MixModel, Shares, ciede2000};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use super::{LagFault, LagFit, Unit, errors};
use crate::delivery::Command;
use crate::economy::Heights;
use crate::machine::Chamber;
use crate::{AsPrinted, Plan, Schedule};

/// How far a colour must be off for a change to be seen when one looks closely, ΔE00 (our
/// assumption, no source).
const SEEN_DE00: f64 = 3.0;

/// Where a change was seen to begin and to end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EndsReading {
    /// Which change of blend, from 1 at the bottom.
    pub change: usize,
    /// Where the old colour is first seen to give way, mm.
    pub begins_mm: f64,
    /// Where the new colour is first pure to the eye, mm.
    pub ends_mm: f64,
}

/// Fits a chamber of as many tanks as the plan's machine has to where changes began and ended.
///
/// A change begins to show when ΔE00 3 of the new blend is there, and ends when no more than
/// that is left of the old one. Both places are dead volume plus a known number of mixed volumes
/// after the command, so that the fit is a straight line.
///
/// # Errors
/// [`LagFault`].
pub fn of_ends(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    printed: &AsPrinted,
    readings: &[EndsReading],
) -> Result<LagFit, LagFault> {
    let commands = &printed.compensation.commands.0;
    if commands.len() < 2 {
        return Err(LagFault::NoChange);
    }
    if readings.is_empty() {
        return Err(LagFault::TooFew(0, 1));
    }
    let set = plan.machine.chamber;
    let heights = Heights::new(&printed.extrusion, schedule);
    let layer_mm = layer_mm(schedule);
    let measured = plan.spools.measured.is_some();
    let beside = LinearLight::new(&plan.spools);
    // Spools that were not measured may be stirred, as is usual, or lie side by side.
    let models: &[&dyn MixModel] = match measured {
        true => &[model],
        false => &[model, &beside],
    };
    let fit = |model: &dyn MixModel, eye: &Eye| -> Result<LagFit, LagFault> {
        let points = points(eye, (model, commands), set.tanks, &heights, readings)?;
        fitted(&points, set, layer_mm).ok_or(LagFault::Blind)
    };
    let volumes = |fit: &LagFit| Vector2::new(fit.chamber.dead_mm3, fit.chamber.mixed_mm3);
    let mut fits = Vec::with_capacity(models.len());
    let mut spread = Matrix2::zeros();
    for &model in models {
        let own = fit(model, &Eye::usual())?;
        // Another eye, and spools of another strength, would have seen the changes elsewhere.
        for other in Eye::others(measured) {
            if let Ok(other) = fit(model, &other) {
                // Two of each, one to either side, for every model.
                let part = 0.5 / models.len() as f64;
                spread += errors::off_by(volumes(&other) - volumes(&own)) * part;
            }
        }
        fits.push(own);
    }
    let Some(mut fit) = fits.first().cloned() else {
        return Err(LagFault::Blind);
    };
    for other in fits.iter().skip(1) {
        spread += errors::off_by(volumes(other) - volumes(&fit)) * BESIDE;
    }
    let [dead, mixed, lag] = errors::of_sum(&spread);
    fit.dead_error_mm3 = fit.dead_error_mm3.hypot(dead);
    fit.mixed_error_mm3 = fit.mixed_error_mm3.hypot(mixed);
    fit.lag_error_mm3 = fit.lag_error_mm3.hypot(lag);
    if !measured {
        fit.warnings.push(
            "the visible ends of a change depend on how these spools mix, which was not measured, \
             so the errors are wider. Read colours by height instead (colours.csv), or measure the \
             spools first (tintfall swatch, tintfall fit)"
                .to_owned(),
        );
    }
    Ok(fit)
}

/// How a change is seen.
struct Eye {
    /// How far a colour must be off, ΔE00.
    seen_de00: f64,
    /// How much stronger than told the first component of the plan is in blends.
    strength: f64,
}

impl Eye {
    fn usual() -> Self {
        Self {
            seen_de00: SEEN_DE00,
            strength: 1.0,
        }
    }

    fn others(measured: bool) -> Vec<Self> {
        let eye = |seen_de00: f64, strength: f64| Self {
            seen_de00,
            strength,
        };
        let mut others = vec![eye(0.65 * SEEN_DE00, 1.0), eye(1.5 * SEEN_DE00, 1.0)];
        if !measured {
            others.extend([eye(SEEN_DE00, STRENGTH), eye(SEEN_DE00, 1.0 / STRENGTH)]);
        }
        others
    }
}

/// The part of the variance between the two that counts: the truth is mostly between them (our
/// reckoning).
const BESIDE: f64 = 0.5;

/// A spool may be so many times as strong or as weak in blends as its colour says, where it was
/// not measured (our assumption, no source).
const STRENGTH: f64 = 2.0;

/// Every height as a volume after its command, and where it should be in mixed volumes.
fn points(
    eye: &Eye,
    (model, commands): (&dyn MixModel, &[Command]),
    tanks: usize,
    heights: &Heights,
    readings: &[EndsReading],
) -> Result<Vec<Point>, LagFault> {
    let mut points = Vec::new();
    for (i, reading) in readings.iter().enumerate() {
        let pair = reading
            .change
            .checked_sub(1)
            .and_then(|c| commands.get(c..)?.get(..2));
        let [before, after] = pair.unwrap_or(&[]) else {
            let what = format!(
                "there is no change {}; the part has {} changes, counted from 1 at the bottom",
                reading.change,
                commands.len() - 1
            );
            return Err(LagFault::reading(i, what));
        };
        for height in [reading.begins_mm, reading.ends_mm] {
            if !(0.0..=heights.top_mm() + 1e-6).contains(&height) {
                let top = heights.top_mm();
                let what = format!(
                    "{height} mm is not on the part, which goes from 0 to {top:.2} \
                                    mm"
                );
                return Err(LagFault::reading(i, what));
            }
        }
        if reading.ends_mm <= reading.begins_mm {
            let what = "the change ends where it begins, or below; swap the two heights";
            return Err(LagFault::reading(i, what));
        }
        let Some(times) = times(eye, model, (&before.shares, &after.shares), tanks) else {
            let what = "the two blends look too similar; read another change";
            return Err(LagFault::reading(i, what));
        };
        for (height, times) in [reading.begins_mm, reading.ends_mm].into_iter().zip(times) {
            points.push(Point {
                times,
                after_mm3: heights.laid_mm3(height) - after.at_mm3,
                mm3_per_mm: slope(heights, height),
            });
        }
    }
    Ok(points)
}

/// One height: after the command by dead volume and so many mixed volumes.
struct Point {
    times: f64,
    after_mm3: f64,
    mm3_per_mm: f64,
}

/// In mixed volumes after the dead one: when a change begins to show, and when it is over.
fn times(
    eye: &Eye,
    model: &dyn MixModel,
    (from, to): (&Shares, &Shares),
    tanks: usize,
) -> Option<[f64; 2]> {
    let toned = |shares: Shares| {
        let mut weights = shares.as_slice().to_vec();
        if let Some(first) = weights.first_mut() {
            *first *= eye.strength;
        }
        Shares::from_weights(&weights).unwrap_or(shares)
    };
    let lab = |new: f64| model.mix(&toned(from.toward(to, new))).to_lab();
    if ciede2000(lab(0.0), lab(1.0)) < 2.5 * eye.seen_de00 {
        return None;
    }
    let place = |end: f64| {
        let (mut near, mut far) = (end, 1.0 - end);
        for _ in 0..50 {
            let middle = 0.5 * (near + far);
            match ciede2000(lab(end), lab(middle)) < eye.seen_de00 {
                true => near = middle,
                false => far = middle,
            }
        }
        near
    };
    let chamber = Chamber {
        dead_mm3: 0.0,
        mixed_mm3: 1.0,
        tanks,
    };
    Some([place(0.0), place(1.0)].map(|new| chamber.flushed_mm3(1.0 - new)))
}

fn fitted(points: &[Point], set: Chamber, layer_mm: f64) -> Option<LagFit> {
    let mut normal = Matrix2::zeros();
    let mut right = Vector2::zeros();
    for point in points {
        let row = Vector2::new(1.0, point.times);
        normal += row * row.transpose();
        right += row * point.after_mm3;
    }
    let mut inverse = normal.try_inverse()?;
    let mut found = inverse * right;
    if found.x < 0.0 {
        // No dead volume: a line through the origin.
        let squares: f64 = points.iter().map(|p| p.times * p.times).sum();
        let product: f64 = points.iter().map(|p| p.times * p.after_mm3).sum();
        found = Vector2::new(0.0, product / squares);
        inverse = Matrix2::new(0.0, 0.0, 0.0, 1.0 / squares);
    }
    let chamber = Chamber {
        dead_mm3: found.x,
        mixed_mm3: found.y,
        ..set
    };
    if !(chamber.mixed_mm3 > 0.0 && chamber.mixed_mm3.is_finite()) {
        return None;
    }
    let off =
        |chamber: &Chamber, p: &Point| p.after_mm3 - chamber.dead_mm3 - chamber.mixed_mm3 * p.times;
    let count = points.len() as f64;
    let squares: f64 = points.iter().map(|p| off(&chamber, p).powi(2)).sum();
    // Two readings are always met; no reading is better than a layer.
    let least = points.iter().map(|p| p.mm3_per_mm).sum::<f64>() / count * layer_mm / 12f64.sqrt();
    let scatter = (squares / (count - 2.0).max(1.0)).max(least * least);
    let error = |v: f64| (v.max(0.0) * scatter).sqrt();
    // Ends are read less surely than beginnings, and tell the mixed volume.
    let own = scattered(points, &chamber).unwrap_or_default();
    let rms_mm = |chamber: &Chamber| {
        let squares: f64 = points
            .iter()
            .map(|p| (off(chamber, p) / p.mm3_per_mm.max(1e-9)).powi(2))
            .sum();
        (squares / count).sqrt()
    };
    Some(LagFit {
        dead_error_mm3: error(inverse[(0, 0)]).max(own[0]),
        mixed_error_mm3: error(inverse[(1, 1)]).max(own[1]),
        lag_error_mm3: error(inverse[(0, 0)] + inverse[(1, 1)] + 2.0 * inverse[(0, 1)]).max(own[2]),
        misfit: rms_mm(&chamber),
        misfit_before: rms_mm(&set),
        chamber,
        unit: Unit::Mm,
        readings: points.len(),
        warnings: Vec::new(),
    })
}

/// Errors from each reading's own scatter.
fn scattered(points: &[Point], chamber: &Chamber) -> Option<[f64; 3]> {
    if points.len() < 4 {
        return None;
    }
    let slopes = DMatrix::from_fn(points.len(), 2, |i, j| match j {
        0 => 1.0,
        _ => points.get(i).map_or(0.0, |p| p.times),
    });
    let off = |p: &Point| p.after_mm3 - chamber.dead_mm3 - chamber.mixed_mm3 * p.times;
    let residuals = DVector::from_iterator(points.len(), points.iter().map(off));
    let found = errors::sandwich(&slopes, &residuals, points.len(), 1)?;
    Some(errors::of_sum(&found))
}

/// Extruded volume for a mm of height about a height.
fn slope(heights: &Heights, at_mm: f64) -> f64 {
    let (low, high) = ((at_mm - 0.5).max(0.0), (at_mm + 0.5).min(heights.top_mm()));
    (heights.laid_mm3(high) - heights.laid_mm3(low)) / (high - low).max(1e-9)
}

fn layer_mm(schedule: &Schedule) -> f64 {
    let layers = schedule.layers.len().max(1) as f64;
    schedule.layers.last().map_or(0.0, |l| l.span.top_mm) / layers
}
