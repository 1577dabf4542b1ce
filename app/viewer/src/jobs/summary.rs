//! What is asked of each layer, and the totals: drawn from the engine's schedule.

use std::sync::Arc;

use geometry::Progress;
use plan::schedule::{Groundwork, RegionTotal, ScheduleError, SpoolTotal, Totals, Warning};
use plan::{Painted, Schedule};

use super::Stop;
use crate::model::profile::Profile;

/// What to work out.
pub struct Order {
    /// The plan's revision.
    pub revision: u64,
    /// The plan laid on the part.
    pub painted: Arc<Painted>,
    /// What an earlier plan of the part was worked out from.
    pub before: Option<Groundwork>,
}

/// What is known of the print, and what it was worked out from.
pub struct Summarised {
    /// What is known.
    pub summary: Summary,
    /// For the next plan of the part.
    pub groundwork: Groundwork,
}

/// What is known of the print.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// The plan's revision that it is of; none before anything was worked out.
    pub revision: Option<u64>,
    /// What is asked of each layer.
    pub schedule: Option<Arc<Schedule>>,
    /// What is at each height.
    pub profile: Profile,
    /// Amounts of the whole part.
    pub totals: Option<Totals>,
    /// What a person should know before printing.
    pub warnings: Vec<Warning>,
    /// The heights at which warnings begin, mm, and what they say.
    pub warnings_at_mm: Vec<(f64, String)>,
}

impl Summary {
    /// A region's amounts.
    pub fn region(&self, region: usize) -> Option<&RegionTotal> {
        self.totals.as_ref()?.regions.get(region)
    }

    /// A spool's amounts.
    pub fn spool(&self, spool: usize) -> Option<&SpoolTotal> {
        self.totals.as_ref()?.spools.get(spool)
    }

    /// Mass of the whole part, g.
    pub fn mass_g(&self) -> f64 {
        let spools = self.totals.iter().flat_map(|t| &t.spools);
        spools.map(|s| s.mass_g).sum()
    }

    /// The warnings about a region.
    pub fn warnings_of(&self, region: usize) -> impl Iterator<Item = &Warning> {
        self.warnings
            .iter()
            .filter(move |w| w.region == Some(region))
    }
}

/// Works it out.
///
/// # Errors
/// [`Stop`] when the part can't be cut into the plan's layers, or when cancelled.
pub fn run(order: Order, progress: &Progress) -> Result<Summarised, Stop> {
    let revised = Schedule::revised(&order.painted, order.before.as_ref(), progress);
    let (schedule, groundwork) = revised.map_err(|e| match e {
        ScheduleError::Cancelled(_) => Stop::Cancelled,
        e => Stop::failed(&e),
    })?;
    let profile = Profile::of(&schedule);
    let begins = |w: &Warning| profile.rows.get(w.first_layer).map_or(0.0, |r| r.bottom_mm);
    let mut warnings_at_mm: Vec<(f64, String)> = schedule
        .warnings
        .iter()
        .map(|w| (begins(w), w.text.clone()))
        .collect();
    warnings_at_mm.sort_by(|a, b| a.0.total_cmp(&b.0));
    let summary = Summary {
        revision: Some(order.revision),
        profile,
        totals: Some(schedule.totals.clone()),
        warnings: schedule.warnings.clone(),
        warnings_at_mm,
        schedule: Some(Arc::new(schedule)),
    };
    Ok(Summarised {
        summary,
        groundwork,
    })
}
