//! What the plan asks for within a layer, point by point, for one who goes along a toolpath.

use blend::Shares;
use geometry::{DVec3, LayerSpan, SurfacePoint};

use super::ramp_steps::{self, RampSteps};
use super::region_steps::{LayerRegions, RegionStep};
use crate::Painted;

/// A plan made ready to be asked about layers, by the schedule's own rules.
///
/// The layers may be those of a toolpath, whose heights are not quite the plan's.
///
/// ```
/// use std::sync::Arc;
/// use blend::LinearLight;
/// use geometry::{DVec3, LayerSpan, Progress, Surface, solids};
/// use plan::{FirstPlan, MeshSource, Painted, Plan};
/// use plan::schedule::Asked;
///
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let surface = Surface::new(Arc::new(solids::cylinder(20.0, 100.0, 64)?));
/// let mesh = MeshSource::named("post.stl");
/// let plan = Plan::first(FirstPlan { mesh, title: "Post".into(), height_mm: 100.0 });
/// let model = Arc::new(LinearLight::new(&plan.spools));
/// let painted = Painted::new(plan, surface, model, &Progress::new())?;
///
/// let asked = Asked::new(&painted);
/// let layer = asked.layer(LayerSpan { bottom_mm: 39.9, top_mm: 40.1 });
/// let only = layer.single().expect("height alone decides");
/// assert_eq!(layer.shares(only).to_string(), "60 / 40");
/// # Ok(())
/// # }
/// ```
pub struct Asked<'a> {
    painted: &'a Painted,
    steps: Vec<Option<RampSteps>>,
}

/// One layer of it.
pub struct AskedLayer<'a> {
    layer_regions: LayerRegions<'a>,
    middle_mm: f64,
}

impl<'a> Asked<'a> {
    /// Makes a plan ready.
    pub fn new(painted: &'a Painted) -> Self {
        Self {
            painted,
            steps: ramp_steps::of_regions(painted),
        }
    }

    /// The plan on its part.
    pub fn painted(&self) -> &'a Painted {
        self.painted
    }

    /// A layer.
    pub fn layer(&self, span: LayerSpan) -> AskedLayer<'_> {
        AskedLayer {
            layer_regions: LayerRegions::new(self.painted, &self.steps, span),
            middle_mm: span.middle_mm(),
        }
    }
}

impl AskedLayer<'_> {
    /// The one region step of the whole layer, if height alone decides it.
    pub fn single(&self) -> Option<RegionStep> {
        self.layer_regions.single()
    }

    /// The region step at a point of the skin.
    pub fn at(&self, point: SurfacePoint) -> RegionStep {
        self.layer_regions.at(point)
    }

    /// How far around a place of the plastic, mm, all of it belongs to this region step, as the
    /// place does; the place is so deep, mm, and no deeper than colour reaches. 0 where nothing is
    /// known.
    pub fn around_mm(&self, region_step: RegionStep, place_mm: DVec3, depth_mm: f64) -> f64 {
        self.layer_regions
            .around_mm(region_step, place_mm, depth_mm)
    }

    /// Whether another layer has the same region step at each place of the skin that they share.
    pub fn alike(&self, other: &Self) -> bool {
        self.layer_regions.alike(&other.layer_regions)
    }

    /// The blend of a region step in this layer.
    pub fn shares(&self, region_step: RegionStep) -> Shares {
        self.layer_regions.shares(region_step, self.middle_mm)
    }
}
