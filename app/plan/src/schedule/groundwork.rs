//! What is worked out for a schedule before any colour is asked for: the layers of the part, and
//! how the regions fall on them. Kept, it leaves little to do for the next plan of the same part.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use geometry::layers::{self, Layer};
use geometry::{Cancelled, LayerPlan, Mesh, Progress};
use rayon::prelude::*;

use super::apportion::{self, Apportioned, Earlier, Wanted};
use super::ramp_steps::{self, RampSteps};
use super::{Laid, ScheduleError, mesh_sha256};
use crate::{Filling, Painted};

/// Layers that one thread works out in a row: what it knows of one serves the next.
const LAYERS_TOGETHER: usize = 12;

/// What a schedule was made from, so that the next one need not begin anew.
#[derive(Clone)]
pub struct Groundwork {
    painted: Arc<Painted>,
    pub(super) cut: Arc<Cut>,
    pub(super) fall: Arc<Fall>,
}

impl Groundwork {
    /// For a plan of a part, from what is there of another plan of it.
    pub(super) fn of(
        painted: &Arc<Painted>,
        before: Option<&Self>,
        progress: &Progress,
    ) -> Result<Self, ScheduleError> {
        let known = before.filter(|before| before.cut.is_of(painted));
        let cut = match known {
            Some(known) => Arc::clone(&known.cut),
            None => Arc::new(Cut::of(painted, None, progress)?),
        };
        let fall = Fall::of(painted, &cut, known, progress)?;
        Ok(Self {
            painted: Arc::clone(painted),
            cut,
            fall: Arc::new(fall),
        })
    }
}

/// A part in layers.
pub(super) struct Cut {
    mesh: Arc<Mesh>,
    plan: LayerPlan,
    filling: Filling,
    pub(super) layers: Vec<Layer>,
    /// The share of each that stays hollow.
    hollow: Vec<f64>,
    pub(super) mesh_sha256: String,
}

impl Cut {
    /// Cuts a part, for the plastic of a toolpath if there is one.
    pub(super) fn of(
        painted: &Painted,
        laid: Option<&Laid>,
        progress: &Progress,
    ) -> Result<Self, ScheduleError> {
        let (plan, surface) = (painted.plan(), painted.surface());
        progress.stage("Cutting layers");
        let (layers, mesh_sha256) = rayon::join(
            || layers::cut_seen(surface.mesh(), surface.unseen(), &plan.layers, progress),
            || mesh_sha256(surface.mesh()),
        );
        let layers = layers?;
        progress.stage("Assigning blends to layers");
        let hollow = match laid {
            Some(laid) if laid.layers_mm3.len() != layers.len() => {
                return Err(ScheduleError::OtherLayers {
                    toolpath: laid.layers_mm3.len(),
                    plan: layers.len(),
                });
            }
            Some(laid) => unlaid_shares(&layers, laid),
            None => hollow_shares(plan.filling, &layers, progress)?,
        };
        Ok(Self {
            mesh: Arc::clone(surface.mesh()),
            plan: plan.layers.clone(),
            filling: plan.filling,
            layers,
            hollow,
            mesh_sha256,
        })
    }

    /// Whether a plan cuts its part so.
    fn is_of(&self, painted: &Painted) -> bool {
        let plan = painted.plan();
        Arc::ptr_eq(&self.mesh, painted.surface().mesh())
            && self.plan == plan.layers
            && self.filling == plan.filling
    }
}

/// How regions fall on the layers of a part.
pub(super) struct Fall {
    pub(super) steps: Vec<Option<RampSteps>>,
    pub(super) apportioned: Vec<Apportioned>,
    /// Visible area of each region, mm².
    pub(super) areas_mm2: Vec<f64>,
}

impl Fall {
    /// Shares the layers out. What is there of another plan is taken over where the regions are
    /// the same.
    pub(super) fn of(
        painted: &Painted,
        cut: &Cut,
        before: Option<&Groundwork>,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let steps = ramp_steps::of_regions(painted);
        let apportioned = apportioned((painted, &steps), cut, before, progress)?;
        let same = before.filter(|before| painted.same_areas(&before.painted));
        let areas_mm2 = match same {
            Some(before) => before.fall.areas_mm2.clone(),
            None => painted.region_areas_mm2(progress)?,
        };
        Ok(Self {
            steps,
            apportioned,
            areas_mm2,
        })
    }
}

fn apportioned(
    (painted, steps): (&Painted, &[Option<RampSteps>]),
    cut: &Cut,
    before: Option<&Groundwork>,
    progress: &Progress,
) -> Result<Vec<Apportioned>, Cancelled> {
    let earlier = before.map(|before| Earlier {
        painted: &before.painted,
        steps: &before.fall.steps,
    });
    let count = cut.layers.len();
    let done = AtomicUsize::new(0);
    let of_run = |run: usize| -> Result<Vec<Apportioned>, Cancelled> {
        let begin = run * LAYERS_TOGETHER;
        let wanted = (begin..count.min(begin + LAYERS_TOGETHER)).map(|layer| Wanted {
            layer: &cut.layers[layer],
            hollow: cut.hollow[layer],
            before: before.and_then(|before| before.fall.apportioned.get(layer)),
        });
        let found = apportion::of_layers(painted, steps, earlier, wanted);
        let found = found.map(|apportioned| {
            progress.check()?;
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            progress.set(done as f32 / count as f32);
            Ok(apportioned)
        });
        found.collect()
    };
    let runs = (0..count.div_ceil(LAYERS_TOGETHER)).into_par_iter();
    let found: Result<Vec<_>, Cancelled> = runs.map(of_run).collect();
    Ok(found?.into_iter().flatten().collect())
}

/// The share of each layer's volume that a toolpath does not lay; below 0 where it lays more,
/// as skirts, supports and first layers do.
fn unlaid_shares(cut: &[Layer], laid: &Laid) -> Vec<f64> {
    let pairs = cut.iter().zip(&laid.layers_mm3);
    pairs
        .map(|(layer, laid)| match layer.volume_mm3 > 0.0 {
            true => 1.0 - laid.max(0.0) / layer.volume_mm3,
            false => 0.0,
        })
        .collect()
}

/// The share of each layer that its infill leaves hollow.
fn hollow_shares(
    filling: Filling,
    cut: &[Layer],
    progress: &Progress,
) -> Result<Vec<f64>, Cancelled> {
    let empty = 1.0 - filling.infill;
    if empty <= 0.0 {
        return Ok(vec![0.0; cut.len()]);
    }
    let sparse = layers::sparse_shares(cut, filling.shell(), progress)?;
    Ok(sparse.into_iter().map(|share| share * empty).collect())
}
