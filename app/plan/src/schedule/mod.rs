//! What is asked of the machine, layer by layer, in print order. Derived, never edited.
//!
//! # Rules
//! - A printer can change its blend cleanly only between layers, so what asks for nothing but
//!   height is decided once for each layer, **at the layer's middle height**: which band has
//!   it, and which blend a fade along height has. A plan of bands and height fades gives one
//!   dose a layer, and its volumes are exact.
//! - Other regions (painted spots, spheres, sides) share layers. **Colour reaches
//!   [`Plan::skin_mm`](crate::Plan::skin_mm) beneath the surface**: plastic no deeper than
//!   that goes with the region of the nearest point of the skin, above, below or beside it.
//! - Plastic deeper than that, and plastic about a sealed cavity, is free: it is never seen, goes with the layer's largest dose,
//!   and causes no change of blend.
//! - What is laid of a layer is the plan's [`Filling`](crate::Filling): walls, solid bottoms and
//!   tops, and a share of the rest, measured on the layer's real outlines.
//! - How a layer's volume is shared out among regions is sampled; the doses of a layer are
//!   then scaled to add up to what is laid of it.
//! - A fade that runs across a layer is laid in steps no further apart than
//!   [`Plan::step_de00`](crate::Plan::step_de00), the same steps in every layer.
//! - A dose smaller than a dot of the nozzle's width can't be laid; it goes with the layer's
//!   largest dose, and a warning says so.
//! - A layer begins with the blend with which the one below ended where that is possible, and
//!   the order within layers is the one of the fewest changes over the whole part.

mod apportion;
mod asked;
mod asks;
mod error;
mod fine_details;
mod groundwork;
mod interior;
mod laid;
mod layer;
mod lookup_cache;
mod order;
mod outline_runs;
mod ramp_steps;
mod region_steps;
mod skin;
mod text;
mod told;
mod totals;
mod warnings;

use std::sync::Arc;

use blend::{MixModel, Shares};
use geometry::{Progress, SurfacePoint};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::{Painted, Plan};
use groundwork::{Cut, Fall};

pub use asked::{Asked, AskedLayer};
pub use asks::Asks;
pub use error::ScheduleError;
pub use groundwork::Groundwork;
pub use laid::Laid;
pub use layer::{Dose, Layer};
pub use lookup_cache::LookupCache;
pub use ramp_steps::RampSteps;
pub use region_steps::RegionStep;
pub use told::told;
pub use totals::{Provenance, RegionTotal, SpoolTotal, Totals, mesh_sha256};
pub use warnings::{Concern, Warning};

/// The schedule of one part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Schedule {
    /// Version of this format.
    pub version: u32,
    /// What it was made from.
    pub provenance: Provenance,
    /// What it takes in all.
    pub totals: Totals,
    /// What a person should know before printing.
    pub warnings: Vec<Warning>,
    /// Layers from the bed upwards.
    pub layers: Vec<Layer>,
}

impl Schedule {
    /// Works out the schedule of a painted part. The same part gives the same schedule, bit
    /// for bit, on any number of cores.
    ///
    /// ```
    /// use std::sync::Arc;
    /// use blend::LinearLight;
    /// use geometry::{Progress, Surface, solids};
    /// use plan::{FirstPlan, MeshSource, Painted, Plan, Schedule};
    ///
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let surface = Surface::new(Arc::new(solids::cylinder(20.0, 100.0, 64)?));
    /// let mesh = MeshSource::named("post.stl");
    /// let plan = Plan::first(FirstPlan { mesh, title: "Post".into(), height_mm: 100.0 });
    /// let model = Arc::new(LinearLight::new(&plan.spools));
    /// let progress = Progress::new();
    /// let painted = Painted::new(plan, surface, model, &progress)?;
    /// let schedule = Schedule::new(&painted, &progress)?;
    ///
    /// assert_eq!(schedule.layers.len(), 500);
    /// assert_eq!(schedule.totals.layers_with_changes, 0);
    /// # Ok(())
    /// # }
    /// ```
    ///
    /// # Errors
    /// [`ScheduleError`] when the part can't be cut into the plan's layers, or when told to
    /// stop.
    pub fn new(painted: &Painted, progress: &Progress) -> Result<Self, ScheduleError> {
        Self::along(painted, None, progress)
    }

    /// As [`Schedule::new`], for the plastic of a toolpath if there is one.
    ///
    /// # Errors
    /// [`ScheduleError`]; and when the toolpath has other layers than the plan.
    pub fn along(
        painted: &Painted,
        laid: Option<&Laid>,
        progress: &Progress,
    ) -> Result<Self, ScheduleError> {
        let cut = Cut::of(painted, laid, progress)?;
        let fall = Fall::of(painted, &cut, None, progress)?;
        Ok(Self::of(painted, laid, &cut, &fall))
    }

    /// As [`Schedule::new`], and the groundwork for the next plan of the same part: with that of
    /// the plan `before`, only what the change touches is worked out again.
    ///
    /// # Errors
    /// As [`Schedule::new`].
    pub fn revised(
        painted: &Arc<Painted>,
        before: Option<&Groundwork>,
        progress: &Progress,
    ) -> Result<(Self, Groundwork), ScheduleError> {
        let ground = Groundwork::of(painted, before, progress)?;
        let schedule = Self::of(painted, None, &ground.cut, &ground.fall);
        Ok((schedule, ground))
    }

    fn of(painted: &Painted, laid: Option<&Laid>, cut: &Cut, fall: &Fall) -> Self {
        let plan = painted.plan();
        let pairs = cut.layers.par_iter().zip(&fall.apportioned);
        let mut layers: Vec<Layer> = pairs
            .map(|(layer, apportioned)| {
                let doses = apportioned.doses.iter();
                let middle_mm = layer.span.middle_mm();
                Layer {
                    span: layer.span,
                    volume_mm3: apportioned.volume_mm3(),
                    free_mm3: apportioned.free_mm3,
                    area_mm2: layer.skin_mm2,
                    doses: doses
                        .map(|dose| {
                            let shares =
                                region_steps::shares(painted, &fall.steps, dose.of, middle_mm);
                            dose_of(painted, dose, shares)
                        })
                        .collect(),
                }
            })
            .collect();
        order::arrange(&mut layers, plan);
        let areas = &fall.areas_mm2;
        Self {
            version: Self::VERSION,
            provenance: Provenance::of(painted, laid, cut.mesh_sha256.clone()),
            totals: Totals::of(plan, &cut.layers, &layers, areas),
            warnings: warnings::of(painted, &cut.layers, &fall.apportioned, &layers, areas),
            layers,
        }
    }
}

impl Schedule {
    /// The dose that a point of the skin is printed in: its layer, and its place in that.
    ///
    /// None only for a schedule without layers, or a layer without doses.
    pub fn dose_at(&self, painted: &Painted, point: SurfacePoint) -> Option<(usize, usize)> {
        let z = point.point_mm.z;
        let above = self.layers.partition_point(|l| l.span.top_mm < z);
        let index = above.min(self.layers.len().checked_sub(1)?);
        let (region, asked) = (painted.region_at(point), painted.shares_at(point));
        let dose = self.layers.get(index)?.dose_for(region, &asked)?;
        Some((index, dose))
    }
}

/// A dose with its filament and colour.
fn dose_of(painted: &Painted, dose: &apportion::Amount, shares: Shares) -> Dose {
    let model = painted.model();
    let xyz = model.mix(&shares);
    Dose {
        region: dose.of.region,
        shares,
        volume_mm3: dose.volume_mm3,
        area_mm2: dose.area_mm2,
        filament_mm: filament_mm(painted.plan(), &shares, dose.volume_mm3),
        lab: xyz.to_lab(),
        srgb: xyz.to_srgb(),
        uncertainty_de00: uncertainty(model, &shares),
    }
}

fn uncertainty(model: &dyn MixModel, shares: &Shares) -> Option<f64> {
    model.uncertainty(shares).filter(|de| de.is_finite())
}

/// Filament of each component that makes a volume of a blend, mm: its share of the volume
/// over the filament's cross-section πd²/4.
pub(crate) fn filament_mm(plan: &Plan, shares: &Shares, volume_mm3: f64) -> Vec<f64> {
    let spools = plan.spools.iter().zip(shares.as_slice());
    spools
        .map(|(spool, share)| spool.length_mm(volume_mm3 * share))
        .collect()
}
