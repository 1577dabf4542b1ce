//! What drives really feed.

use blend::MAX_COMPONENTS;

use super::{Fault, Shows};
use crate::delivery::Command;

/// What the drives feed from an extruded volume on, as parts of the volume asked for; they need
/// not add up to 1.
#[derive(Clone, Copy)]
pub(super) struct Fed {
    pub at_mm3: f64,
    pub parts: [f64; MAX_COMPONENTS],
    pub count: usize,
}

/// What the drives are told to feed.
pub(super) fn told(commands: &[Command]) -> Vec<Fed> {
    commands
        .iter()
        .map(|command| {
            let mut parts = [0.0; MAX_COMPONENTS];
            for (part, share) in parts.iter_mut().zip(command.shares.as_slice()) {
                *part = *share;
            }
            Fed {
                at_mm3: command.at_mm3,
                parts,
                count: command.shares.count(),
            }
        })
        .collect()
}

/// What the drives feed under faults, of those wrong feeds whose kind counts.
pub(super) fn faulty(
    told: &[Fed],
    faults: &[Fault],
    laid_mm3: &dyn Fn(f64) -> f64,
    counts: impl Fn(Shows) -> bool,
) -> Vec<Fed> {
    let mut fed = told.to_vec();
    for fault in faults {
        match fault {
            Fault::Feed {
                drive,
                ratio,
                growing,
                from_mm,
                until_mm,
                shows,
            } if counts(*shows) => {
                let spell = [laid_mm3(*from_mm), laid_mm3(*until_mm)];
                grow(&mut fed, Some(*drive), (*ratio, *growing), spell);
            }
            Fault::Slipping {
                drive,
                ratio,
                spells_mm,
            } if counts(Shows::Filament) => {
                for [from, until] in spells_mm {
                    let spell = [laid_mm3(*from), laid_mm3(*until)];
                    scale(&mut fed, Some(*drive), *ratio, spell);
                }
            }
            Fault::AllShort {
                ratio,
                growing,
                from_mm,
                until_mm,
            } if counts(Shows::Filament) => {
                let spell = [laid_mm3(*from_mm), laid_mm3(*until_mm)];
                grow(&mut fed, None, (*ratio, *growing), spell);
            }
            Fault::FlowLimit { most_share } if counts(Shows::Filament) => {
                for part in fed.iter_mut().flat_map(|f| f.parts.iter_mut()) {
                    *part = part.min(*most_share);
                }
            }
            _ => {}
        }
    }
    fed
}

/// Steps in which a fault grows.
const STEPS: usize = 6;

/// Scales what a drive feeds, or all of them, between two volumes: at once, or evenly from the
/// one to the other.
fn grow(
    fed: &mut Vec<Fed>,
    drive: Option<usize>,
    (ratio, growing): (f64, bool),
    [from, until]: [f64; 2],
) {
    let steps = if growing { STEPS } else { 1 };
    let at = |i: usize| from + (until - from) * i as f64 / steps as f64;
    for i in 0..steps {
        let part = match growing {
            true => (i as f64 + 0.5) / steps as f64,
            false => 1.0,
        };
        let ratio = 1.0 + (ratio - 1.0) * part;
        scale(fed, drive, ratio, [at(i), at(i + 1)]);
    }
}

/// Scales what a drive feeds, or all of them, between two volumes.
fn scale(fed: &mut Vec<Fed>, drive: Option<usize>, ratio: f64, [from, until]: [f64; 2]) {
    if until <= from {
        return;
    }
    for at in [from, until] {
        let next = fed.partition_point(|f| f.at_mm3 <= at);
        if let Some(before) = next.checked_sub(1).and_then(|i| fed.get(i))
            && before.at_mm3 < at
        {
            let split = Fed {
                at_mm3: at,
                ..*before
            };
            fed.insert(next, split);
        }
    }
    let within = |f: &&mut Fed| f.at_mm3 >= from && f.at_mm3 < until;
    for fed in fed.iter_mut().filter(within) {
        for (i, part) in fed.parts.iter_mut().enumerate() {
            if drive.is_none_or(|drive| drive == i) {
                *part *= ratio;
            }
        }
    }
}

/// What a drive has fed by an extruded volume, mm³.
pub(super) fn sum_fed(fed: &[Fed], drive: usize, laid_mm3: f64) -> f64 {
    let ends = fed.iter().skip(1).map(|f| f.at_mm3).chain([f64::INFINITY]);
    fed.iter()
        .zip(ends)
        .take_while(|(f, _)| f.at_mm3 < laid_mm3)
        .map(|(f, end)| (end.min(laid_mm3) - f.at_mm3) * f.parts.get(drive).copied().unwrap_or(0.0))
        .sum()
}

/// From the volume that was asked for to what was really laid: a chamber is flushed by what
/// goes through it, not by what should.
pub(super) struct Axis {
    at_mm3: Vec<f64>,
    laid_mm3: Vec<f64>,
    rates: Vec<f64>,
}

impl Axis {
    pub(super) fn of(fed: &[Fed]) -> Self {
        let mut axis = Self {
            at_mm3: Vec::with_capacity(fed.len()),
            laid_mm3: Vec::with_capacity(fed.len()),
            rates: Vec::with_capacity(fed.len()),
        };
        let mut last: Option<(f64, f64, f64)> = None;
        for fed in fed {
            let laid = last.map_or(fed.at_mm3, |(at, laid, rate)| {
                laid + (fed.at_mm3 - at) * rate
            });
            let rate: f64 = fed.parts.iter().sum();
            axis.at_mm3.push(fed.at_mm3);
            axis.laid_mm3.push(laid);
            axis.rates.push(rate);
            last = Some((fed.at_mm3, laid, rate));
        }
        axis
    }

    /// What was really laid by then, mm³.
    pub(super) fn laid_mm3(&self, asked_mm3: f64) -> f64 {
        let next = self.at_mm3.partition_point(|at| *at <= asked_mm3);
        let Some(i) = next.checked_sub(1) else {
            return asked_mm3;
        };
        let at = |list: &[f64]| list.get(i).copied().unwrap_or(0.0);
        at(&self.laid_mm3) + (asked_mm3 - at(&self.at_mm3)) * at(&self.rates)
    }
}
