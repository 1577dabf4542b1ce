//! A part as it will be printed: laid out, sent ahead, followed through the chamber, priced.

use blend::{Lab, MixModel};
use geometry::{Cancelled, Progress, SurfacePoint};
use serde::{Deserialize, Serialize};

use crate::compensate::{Compensation, How, compensated};
use crate::delivery::{Commands, Delivery, assess};
use crate::economy::{Extrusion, Suggestion, Waste, lay_out, suggestions};
use crate::{Painted, Plan, Schedule};

/// What a schedule becomes on the plan's machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AsPrinted {
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
}

impl AsPrinted {
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
    /// [`Cancelled`] when told to stop.
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
        let compensation = match plan.laying.lead {
            true => compensated(&extrusion, &plan.machine, model),
            false => plain(&extrusion, plan, model, schedule),
        };
        progress.check()?;
        progress.set(0.6);
        let delivery = assess(
            &extrusion,
            schedule,
            &compensation.commands,
            &plan.machine.chamber,
            model,
        );
        progress.check()?;
        progress.set(0.8);
        let waste = Waste::of(&extrusion, plan);
        Ok(Self {
            suggestions: suggestions(plan, model, schedule),
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
