//! The fit to where changes began and ended.

use blend::{MixModel, Shares, ciede2000};
use nalgebra::{Matrix2, Vector2};

use super::{LagFault, LagFit, Unit};
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
    let mut points = Vec::new();
    for (i, reading) in readings.iter().enumerate() {
        let pair = reading
            .change
            .checked_sub(1)
            .and_then(|c| commands.get(c..)?.get(..2));
        let [before, after] = pair.unwrap_or(&[]) else {
            let what = format!(
                "change {} is not one of the part's {} changes; they count from 1 at the bottom",
                reading.change,
                commands.len() - 1
            );
            return Err(LagFault::reading(i, what));
        };
        for height in [reading.begins_mm, reading.ends_mm] {
            if !(0.0..=heights.top_mm() + 1e-6).contains(&height) {
                let top = heights.top_mm();
                let what = format!("{height} mm is not on the part; it goes from 0 to {top:.2} mm");
                return Err(LagFault::reading(i, what));
            }
        }
        if reading.ends_mm <= reading.begins_mm {
            let what = "the change ends where it begins, or below; exchange the two heights";
            return Err(LagFault::reading(i, what));
        }
        let Some(times) = times(model, &before.shares, &after.shares, set.tanks) else {
            let what = "the two blends are too alike for the eye; read another change";
            return Err(LagFault::reading(i, what));
        };
        for (height, times) in [reading.begins_mm, reading.ends_mm].into_iter().zip(times) {
            points.push(Point {
                times,
                after_mm3: heights.laid_mm3(height) - after.at_mm3,
                mm3_per_mm: slope(&heights, height),
            });
        }
    }
    fitted(&points, set, layer_mm(schedule)).ok_or(LagFault::Blind)
}

/// One height: after the command by dead volume and so many mixed volumes.
struct Point {
    times: f64,
    after_mm3: f64,
    mm3_per_mm: f64,
}

/// In mixed volumes after the dead one: when a change begins to show, and when it is over.
fn times(model: &dyn MixModel, from: &Shares, to: &Shares, tanks: usize) -> Option<[f64; 2]> {
    let lab = |new: f64| model.mix(&from.toward(to, new)).to_lab();
    if ciede2000(lab(0.0), lab(1.0)) < 2.5 * SEEN_DE00 {
        return None;
    }
    let place = |end: f64| {
        let (mut near, mut far) = (end, 1.0 - end);
        for _ in 0..50 {
            let middle = 0.5 * (near + far);
            match ciede2000(lab(end), lab(middle)) < SEEN_DE00 {
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
    let rms_mm = |chamber: &Chamber| {
        let squares: f64 = points
            .iter()
            .map(|p| (off(chamber, p) / p.mm3_per_mm.max(1e-9)).powi(2))
            .sum();
        (squares / count).sqrt()
    };
    Some(LagFit {
        dead_error_mm3: error(inverse[(0, 0)]),
        mixed_error_mm3: error(inverse[(1, 1)]),
        lag_error_mm3: error(inverse[(0, 0)] + inverse[(1, 1)] + 2.0 * inverse[(0, 1)]),
        misfit: rms_mm(&chamber),
        misfit_before: rms_mm(&set),
        chamber,
        unit: Unit::Mm,
        readings: points.len(),
    })
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
