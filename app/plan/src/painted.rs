//! The plan laid on the shape: the region and the blend at any point.

use std::sync::Arc;

use blend::{MixModel, Shares};
use geometry::{Cancelled, Progress, Surface, SurfacePoint};

use crate::Plan;

/// A plan laid on its shape.
pub struct Painted {
    plan: Plan,
    surface: Surface,
    model: Arc<dyn MixModel>,
}

impl Painted {
    /// Prepares every mask and fade.
    pub fn new(
        plan: Plan,
        surface: Surface,
        model: Arc<dyn MixModel>,
        _progress: &Progress,
    ) -> Result<Self, Cancelled> {
        Ok(Self {
            plan,
            surface,
            model,
        })
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The shape.
    pub fn surface(&self) -> &Surface {
        &self.surface
    }

    /// The mixing model.
    pub fn model(&self) -> &dyn MixModel {
        self.model.as_ref()
    }

    /// Index of the region that wins at a point of the skin.
    pub fn region_at(&self, _point: SurfacePoint) -> usize {
        todo!()
    }

    /// The blend asked for at a point of the skin.
    pub fn shares_at(&self, _point: SurfacePoint) -> Shares {
        todo!()
    }
}
