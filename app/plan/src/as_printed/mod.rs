//! A part as it will be printed: laid out, sent ahead, followed through the chamber, priced.

mod jumps;
mod missed;
mod read_back;

use blend::{Lab, MixModel};
use geometry::{Cancelled, Progress, SurfacePoint};
use serde::{Deserialize, Deserializer, Serialize};

use crate::compensate::{Compensation, How, compensated};
use crate::delivery::{Commands, Delivery, assess};
use crate::economy::{Extrusion, Suggestion, Waste, lay_out, suggestions};
use crate::ron_text::{self, Document, Path, Problem, TextError};
use crate::schedule::Warning;
use crate::{Painted, Plan, Schedule};

pub use jumps::JumpOffer;
pub use read_back::ReadBack;

/// What a schedule becomes on the plan's machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AsPrinted {
    /// Version of this format.
    #[serde(deserialize_with = "raised")]
    pub version: u32,
    /// Everything that the nozzle lays, in order.
    pub extrusion: Extrusion,
    /// What the drives are told, and what that is good for.
    pub compensation: Compensation,
    /// What comes out.
    pub delivery: Delivery,
    /// What is flushed away.
    pub waste: Waste,
    /// What would save some of it, the greatest saving first.
    pub suggestions: Vec<Suggestion>,
    /// What purging at jumps of height would cost and bring, where that is not done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub jump_offer: Option<JumpOffer>,
    /// What a person should know of how it comes out; beside the schedule's own warnings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<Warning>,
}

impl AsPrinted {
    /// Version of the format that is written here.
    pub const VERSION: u32 = 2;
    /// The oldest version that is read: it calls `p95_de00` by another name.
    pub(crate) const OLDEST: u32 = 1;

    /// Reads what [`AsPrinted::to_ron`] wrote.
    ///
    /// # Errors
    /// [`TextError`] with line and column.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes it; [`AsPrinted::from_ron`] of it gives the same.
    ///
    /// # Errors
    /// Only what the serializer itself reports.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }

    /// Works it out; well under a second for most parts.
    ///
    /// ```
    /// use std::sync::Arc;
    /// use geometry::{Progress, Surface, solids};
    /// use plan::{AsPrinted, FirstPlan, MeshSource, Painted, Plan, Schedule};
    ///
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let surface = Surface::new(Arc::new(solids::cylinder(20.0, 100.0, 64)?));
    /// let mesh = MeshSource::named("post.stl");
    /// let plan = Plan::first(FirstPlan { mesh, title: "Post".into(), height_mm: 100.0 });
    /// let (model, progress) = (plan.model(), Progress::new());
    /// let painted = Painted::new(plan, surface, model, &progress)?;
    /// let schedule = Schedule::new(&painted, &progress)?;
    /// let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, &progress)?;
    /// assert!(printed.compensation.after_de00 <= printed.compensation.before_de00);
    /// assert_eq!(printed.waste.volume_mm3, 0.0);
    /// # Ok(())
    /// # }
    /// ```
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn new(
        plan: &Plan,
        model: &dyn MixModel,
        schedule: &Schedule,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        progress.stage("Following the plastic through the hotend");
        let extrusion = lay_out(plan, model, schedule);
        progress.check()?;
        progress.set(0.2);
        let waste = Waste::of(&extrusion, plan);
        let found = || {
            let compensation = match plan.laying.lead {
                true => compensated(&extrusion, &plan.machine, model),
                false => plain(&extrusion, plan, model, schedule),
            };
            progress.set(0.6);
            let delivery = assess(
                &extrusion,
                schedule,
                &compensation.commands,
                &plan.machine.chamber,
                model,
            );
            progress.set(0.8);
            (compensation, delivery)
        };
        // What else could be done does not hang on what comes out of this.
        let ((compensation, delivery), (purged, suggestions)) = rayon::join(found, || {
            rayon::join(
                || jumps::purged(plan, model, schedule, &waste),
                || suggestions(plan, model, schedule),
            )
        });
        progress.check()?;
        Ok(Self {
            version: Self::VERSION,
            suggestions,
            jump_offer: purged.and_then(|purged| purged.offer(&delivery)),
            warnings: missed::warnings(plan, schedule, &delivery),
            extrusion,
            compensation,
            delivery,
            waste,
        })
    }

    /// The predicted colour, as it will come out, at a point of the skin.
    pub fn lab_at(
        &self,
        painted: &Painted,
        schedule: &Schedule,
        point: SurfacePoint,
    ) -> Option<Lab> {
        let (layer, dose) = schedule.dose_at(painted, point)?;
        let dose = self.delivery.layers.get(layer)?.doses.get(dose)?;
        Some(dose.lab)
    }
}

/// What was read from an older version is of this one.
fn raised<'de, D: Deserializer<'de>>(deserializer: D) -> Result<u32, D::Error> {
    let version = u32::deserialize(deserializer)?;
    Ok(
        match (AsPrinted::OLDEST..AsPrinted::VERSION).contains(&version) {
            true => AsPrinted::VERSION,
            false => version,
        },
    )
}

impl Document for AsPrinted {
    const KIND: &'static str = "part as printed";
    const VERSION: u32 = Self::VERSION;
    const OLDEST: u32 = Self::OLDEST;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let list = |name: &'static str| Path::field("extrusion").then(name);
        let stretches = self.extrusion.stretches.iter().enumerate();
        let mut found: Vec<Problem> = stretches
            .filter(|(_, s)| !(s.volume_mm3.is_finite() && s.volume_mm3 > 0.0))
            .map(|(i, _)| {
                let path = list("stretches").at(i).then("volume_mm3");
                Problem::new(path, "a volume must be above 0")
            })
            .collect();
        let commands = &self.compensation.commands.0;
        for (i, pair) in commands.windows(2).enumerate() {
            if pair[0].at_mm3.total_cmp(&pair[1].at_mm3).is_ge() {
                let path = Path::field("compensation").then("commands").at(i + 1);
                found.push(Problem::new(path, "commands must be in rising order"));
            }
        }
        found
    }
}

fn plain(
    extrusion: &Extrusion,
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
) -> Compensation {
    let commands = Commands::plain(extrusion, &plan.machine);
    let chamber = &plan.machine.chamber;
    let before = assess(extrusion, schedule, &commands, chamber, model).mean_de00;
    Compensation {
        commands,
        how: How::Plain,
        before_de00: before,
        after_de00: before,
    }
}
