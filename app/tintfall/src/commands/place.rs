//! A place of the part, and the colour that it has.

use std::path::Path;

use blend::{Lab, Shares};
use geometry::{Cancelled, LayerSpan, Progress};
use plan::schedule::Dose;
use plan::{AsPrinted, Schedule, ScheduleError};
use project::job::Job;

use crate::fault::Fault;

/// A place of the part whose colour is taken.
pub(super) struct Place<'a> {
    pub(super) height_mm: f64,
    pub(super) region: Option<&'a str>,
    pub(super) as_printed: bool,
}

/// Why there is no colour at a place.
pub(super) enum NoColour {
    Cancelled,
    Words(String),
}

impl NoColour {
    pub(super) fn of(self, plan: &Path) -> Fault {
        match self {
            Self::Cancelled => Fault::Cancelled,
            Self::Words(why) => Fault::Input(format!("{}: {why}", plan.display())),
        }
    }
}

impl From<Cancelled> for NoColour {
    fn from(_: Cancelled) -> Self {
        Self::Cancelled
    }
}

impl Place<'_> {
    /// The colour of the dose that is seen most there, of the region if one is named; and its
    /// blend, unless the colour as printed is wanted.
    pub(super) fn colour(
        &self,
        job: &Job,
        progress: &Progress,
    ) -> Result<(Lab, Option<Shares>), NoColour> {
        let painted = &job.painted;
        let plan = painted.plan();
        let schedule = Schedule::new(painted, progress).map_err(|error| match error {
            ScheduleError::Cancelled(_) => NoColour::Cancelled,
            error => NoColour::Words(error.to_string()),
        })?;
        let mut layers = schedule.layers.iter().enumerate();
        let inside =
            |span: LayerSpan| span.bottom_mm <= self.height_mm && self.height_mm < span.top_mm;
        let Some((index, layer)) = layers.find(|(_, layer)| inside(layer.span)) else {
            let top_mm = schedule.layers.last().map_or(0.0, |l| l.span.top_mm);
            return Err(NoColour::Words(format!(
                "there is no layer at {} mm; the part's layers go from 0 to {top_mm:.2} mm",
                self.height_mm
            )));
        };
        let named = |dose: &Dose| plan.regions.get(dose.region).map(|r| r.name.as_str());
        let doses = layer.doses.iter().enumerate();
        let seen = doses.filter(|(_, dose)| self.region.is_none() || named(dose) == self.region);
        let most = seen.max_by(|(_, a), (_, b)| a.area_mm2.total_cmp(&b.area_mm2));
        let Some((place, dose)) = most else {
            let mut there: Vec<&str> = layer.doses.iter().filter_map(named).collect();
            there.dedup();
            return Err(NoColour::Words(format!(
                "the region '{}' has nothing at {} mm; seen there: {}",
                self.region.unwrap_or_default(),
                self.height_mm,
                there.join(", ")
            )));
        };
        if !self.as_printed {
            return Ok((dose.lab, Some(dose.shares)));
        }
        let printed = AsPrinted::new(plan, painted.model(), &schedule, progress)?;
        let out = printed.delivery.layers.get(index);
        let out = out.and_then(|l| l.doses.get(place));
        Ok((out.map_or(dose.lab, |d| d.lab), None))
    }
}
