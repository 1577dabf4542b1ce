//! The fit to where changes began and ended.

use blend::mix::{Component, Mixing, Saunderson, Strand};
use blend::{MixModel, Shares, ciede2000};

use super::posterior::{Before, Point, Posterior, rms};
use super::task::ZERO_MM;
use super::{LagFault, LagFit, Unit};
use crate::delivery::Command;
use crate::economy::Heights;
use crate::machine::Chamber;
use crate::{AsPrinted, Plan, Schedule};

/// How far a colour must be off for a change to be seen when one looks closely, ΔE00, and how far
/// that is from eye to eye and from light to light, as a natural logarithm (our assumptions, no
/// source).
const SEEN_DE00: f64 = 3.0;
const SEEN_GIVE: f64 = 0.25;

/// How much stronger or weaker in blends a spool may be than told, as a natural logarithm, where
/// the spools were measured and where they were not (our assumptions, no source; 0.7 is a factor
/// of two).
const STRENGTH_GIVE: f64 = 0.1;
const UNMEASURED_STRENGTH_GIVE: f64 = 0.7;

/// Errors of a height, mm, one as likely as the other: a rule and a lens are no better than the
/// first, and edges no worse than the last (our assumption, no source).
const ERRORS_MM: [f64; 4] = [0.05, 0.1, 0.2, 0.4];
/// A change ends more slowly than it begins, so that its end is read so many times less surely
/// (our assumption, no source).
const ENDS: f64 = 2.0;

/// Five and seven places of a normal distribution, equally likely, of variance 1.
const FIVE: [f64; 5] = [-1.466, -0.6, 0.0, 0.6, 1.466];
const SEVEN: [f64; 7] = [-1.61, -0.87, -0.4, 0.0, 0.4, 0.87, 1.61];

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
/// A change begins to show when so much of the new blend is there that the eye sees it, and ends
/// when no more than that is left of the old one. Both places are dead volume plus a known number
/// of mixed volumes after the command, so that the fit is a straight line for each eye, each
/// strength of the spools and, where they were not measured, each way in which they may mix.
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
    let places = places(commands, &heights, readings)?;
    let measured = plan.spools.measured.is_some();
    let unknown = unknown_mixings(plan);
    let models: Vec<&dyn MixModel> = match measured {
        true => vec![model],
        false => unknown.iter().map(|m| m as &dyn MixModel).collect(),
    };
    if let Some(alike) = places
        .iter()
        .position(|p| times(&Eye::usual(), model, &p.change, set.tanks).is_none())
    {
        let what = "the two blends look too similar; read another change";
        return Err(LagFault::reading(alike / 2, what));
    }
    let mean_slope = places.iter().map(|p| p.mm3_per_mm).sum::<f64>() / places.len() as f64;
    // Nobody tells where in its layer an edge is read: evenly anywhere in it.
    let together_mm = ZERO_MM.hypot(layer_mm(schedule) / 12f64.sqrt());
    let before = Before {
        lag_mm3: set.lag_mm3().max(5.0),
        together_mm3: together_mm * mean_slope,
    };
    let mut posterior = Posterior::default();
    let (mut misfit, mut misfit_before) = (f64::INFINITY, f64::INFINITY);
    let slopes: Vec<f64> = places.iter().map(|p| p.mm3_per_mm).collect();
    for model in models {
        for eye in Eye::all(measured) {
            let Some(times) = all_times(&eye, model, &places, set.tanks) else {
                continue;
            };
            for error_mm in ERRORS_MM {
                let points = points(&places, &times, error_mm);
                posterior.add(&points, &before);
                let least = |least: f64, chamber| {
                    rms(&points, chamber, &slopes).map_or(least, |found| least.min(found))
                };
                misfit = least(misfit, None);
                misfit_before = least(misfit_before, Some(&set));
            }
        }
    }
    let told = posterior.told().ok_or(LagFault::Blind)?;
    let [dead_error_mm3, mixed_error_mm3, lag_error_mm3] = told.errors_mm3;
    Ok(LagFit {
        chamber: Chamber {
            dead_mm3: told.dead_mm3,
            mixed_mm3: told.mixed_mm3,
            ..set
        },
        dead_error_mm3,
        mixed_error_mm3,
        lag_error_mm3,
        misfit,
        misfit_before,
        unit: Unit::Mm,
        readings: places.len(),
        warnings: if measured {
            Vec::new()
        } else {
            vec![UNMEASURED.to_owned()]
        },
    })
}

const UNMEASURED: &str = "the visible ends of a change depend on how these spools mix, which was \
    not measured, so the errors are wider. Read colours by height instead (colours.csv), or measure \
    the spools first (tintfall swatch, tintfall fit)";

/// Ways in which spools that were not measured may mix: the family that a fit of spools chooses
/// from, one as likely as the other.
fn unknown_mixings(plan: &Plan) -> Vec<Strand> {
    let surface = Saunderson::USUAL;
    let components = || {
        let spools = plan.spools.iter();
        spools.map(|s| Component::of_spool(s, surface)).collect()
    };
    [
        Mixing::Stirred,
        Mixing::PartlyStirred { stirring: 0.5 },
        Mixing::SideBySide { exponent: 2.0 },
        Mixing::SideBySide { exponent: 1.0 },
    ]
    .map(|mixing| Strand::new(components(), &[], surface, mixing))
    .into()
}

/// How a change is seen.
#[derive(Clone, Copy, Debug)]
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

    /// Eyes and spools that may be, one as likely as the other.
    fn all(measured: bool) -> Vec<Self> {
        let strengths: Vec<f64> = match measured {
            true => FIVE.map(|z| (STRENGTH_GIVE * z).exp()).into(),
            false => SEVEN.map(|z| (UNMEASURED_STRENGTH_GIVE * z).exp()).into(),
        };
        let seen = FIVE.map(|z| SEEN_DE00 * (SEEN_GIVE * z).exp());
        let each = seen.into_iter().flat_map(|seen_de00| {
            strengths.iter().map(move |&strength| Self {
                seen_de00,
                strength,
            })
        });
        each.collect()
    }
}

/// A height that was read.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// From which blend to which one.
    change: [Shares; 2],
    /// Whether the change ends there; it begins if not.
    ends: bool,
    /// Volume after the command, mm³.
    after_mm3: f64,
    mm3_per_mm: f64,
}

/// Every height as a volume after its command: two for each reading.
fn places(
    commands: &[Command],
    heights: &Heights,
    readings: &[EndsReading],
) -> Result<Vec<Place>, LagFault> {
    let mut places = Vec::with_capacity(2 * readings.len());
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
        let (begins, ends) = (reading.begins_mm, reading.ends_mm);
        for height in [begins, ends] {
            if !(0.0..=heights.top_mm() + 1e-6).contains(&height) {
                let top = heights.top_mm();
                let what = format!(
                    "{height} mm is not on the part, which goes from 0 to {top:.2} \
                                    mm"
                );
                return Err(LagFault::reading(i, what));
            }
        }
        if ends <= begins {
            let what = "the change ends where it begins, or below; swap the two heights";
            return Err(LagFault::reading(i, what));
        }
        places.extend([(begins, false), (ends, true)].map(|(height, ends)| Place {
            change: [before.shares, after.shares],
            ends,
            after_mm3: heights.laid_mm3(height) - after.at_mm3,
            mm3_per_mm: heights.slope_mm3_per_mm(height),
        }));
    }
    Ok(places)
}

/// The points of a straight line, were every height off by so much.
fn points(places: &[Place], times: &[f64], error_mm: f64) -> Vec<Point> {
    let both = places.iter().zip(times);
    both.map(|(place, &times)| Point {
        times,
        after_mm3: place.after_mm3,
        error_mm3: place.mm3_per_mm.max(1e-9) * error_mm * if place.ends { ENDS } else { 1.0 },
    })
    .collect()
}

/// For each place after how many mixed volumes it should be; none where an eye sees no change.
fn all_times(eye: &Eye, model: &dyn MixModel, places: &[Place], tanks: usize) -> Option<Vec<f64>> {
    let mut known: Vec<([Shares; 2], [f64; 2])> = Vec::new();
    let mut all = Vec::with_capacity(places.len());
    for place in places {
        let found = known.iter().find(|(change, _)| *change == place.change);
        let both = match found {
            Some((_, both)) => *both,
            None => {
                let both = times(eye, model, &place.change, tanks)?;
                known.push((place.change, both));
                both
            }
        };
        all.push(both[usize::from(place.ends)]);
    }
    Some(all)
}

/// In mixed volumes after the dead one: when a change begins to show, and when it is over.
fn times(
    eye: &Eye,
    model: &dyn MixModel,
    [from, to]: &[Shares; 2],
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
        for _ in 0..36 {
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

fn layer_mm(schedule: &Schedule) -> f64 {
    let layers = schedule.layers.len().max(1) as f64;
    schedule.layers.last().map_or(0.0, |l| l.span.top_mm) / layers
}
