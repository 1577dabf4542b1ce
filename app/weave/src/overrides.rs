//! Blends that the plan lays in place of those that its regions ask for.
//!
//! Regions may have to yield so that a layer gets one blend, blends of a fade may be merged,
//! and a machine may have only so many in store. All of that is decided by the plan's own
//! layout ([`plan::economy::lay_out`]); this finds a toolpath's layers in it.

use blend::Shares;
use geometry::Progress;
use plan::economy::{Purpose, lay_out};
use plan::{Painted, Schedule, SharedLayers};

use super::WeaveError;

/// What is laid in place of what is asked, layer by layer.
pub(super) struct Overrides {
    layers: Vec<Layer>,
}

struct Layer {
    top_mm: f64,
    /// Blends asked for, each with the one that is laid.
    pairs: Vec<[Shares; 2]>,
}

impl Overrides {
    /// The plan's; `None` if it lays what is asked for.
    ///
    /// # Errors
    /// When there is no schedule, or when cancelled.
    pub(super) fn of(painted: &Painted, progress: &Progress) -> Result<Option<Self>, WeaveError> {
        let plan = painted.plan();
        let laying = &plan.laying;
        let as_asked = laying.shared_layers == SharedLayers::Flush
            && laying.merge_de00.is_none()
            && plan.machine.stored_blends.is_none();
        if as_asked {
            return Ok(None);
        }
        let schedule = Schedule::new(painted, progress)?;
        let mut layers: Vec<Layer> = schedule
            .layers
            .iter()
            .map(|layer| Layer {
                top_mm: layer.span.top_mm,
                pairs: Vec::new(),
            })
            .collect();
        for stretch in lay_out(plan, painted.model(), &schedule).stretches {
            if let Purpose::Skin { asked, aim, .. } = stretch.purpose
                && let Some(layer) = layers.get_mut(stretch.layer)
            {
                layer.pairs.push([asked, aim]);
            }
        }
        Ok(Some(Self { layers }))
    }

    /// What is laid at a height in place of a blend asked for there. The toolpath's layers may
    /// lie a little off the plan's, so the nearest blend of the plan's layer counts.
    pub(super) fn at(&self, height_mm: f64, asked: &Shares) -> Shares {
        let above = self.layers.partition_point(|l| l.top_mm < height_mm);
        let layer = self.layers.get(above).or(self.layers.last());
        let pairs = layer.map_or(&[] as &[_], |l| l.pairs.as_slice());
        let nearest = pairs
            .iter()
            .min_by(|[a, _], [b, _]| a.distance(asked).total_cmp(&b.distance(asked)));
        nearest.map_or(*asked, |[_, aim]| *aim)
    }
}
