//! What lies where within one layer.

use blend::Shares;
use geometry::{DVec3, Field, LayerSpan, SurfacePoint};

use super::ramp_steps::RampSteps;
use crate::painted::PreparedPaint;
use crate::{Paint, Painted, Region};

/// A region, and a step of its fade if that runs across layers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RegionStep {
    /// Index of the region in the plan.
    pub region: usize,
    /// The step of its fade, from 0.
    pub step: usize,
}

/// One layer's view of the regions: what height alone decides is decided, the rest is kept
/// to be asked.
pub(super) struct LayerRegions<'a> {
    painted: &'a Painted,
    steps: &'a [Option<RampSteps>],
    /// Regions that may have points of the layer, from the top.
    asked: Vec<usize>,
    /// The region that has every other point.
    rest: usize,
}

impl<'a> LayerRegions<'a> {
    pub(super) fn new(
        painted: &'a Painted,
        steps: &'a [Option<RampSteps>],
        span: LayerSpan,
    ) -> Self {
        let skin_mm = painted.plan().skin_mm;
        let (low, high) = (span.bottom_mm - skin_mm, span.top_mm + skin_mm);
        let mut asked = Vec::new();
        let mut rest = 0;
        for &region in painted.topmost_first() {
            let area = painted.coverage_of(region);
            if region == 0 || (area.is_level() && area.contains_height(span.middle_mm())) {
                rest = region;
                break;
            }
            if !area.is_level() && area.may_reach(low, high) {
                asked.push(region);
            }
        }
        Self {
            painted,
            steps,
            asked,
            rest,
        }
    }

    /// The one region step of the whole layer, if height alone decides it.
    pub(super) fn single(&self) -> Option<RegionStep> {
        let alone = self.asked.is_empty() && self.steps[self.rest].is_none();
        alone.then_some(RegionStep {
            region: self.rest,
            step: 0,
        })
    }

    /// The region step at a point of the skin.
    pub(super) fn at(&self, point: SurfacePoint) -> RegionStep {
        let has = |&&region: &&usize| self.painted.coverage_of(region).contains(point);
        let region = self.asked.iter().find(has).copied().unwrap_or(self.rest);
        let step = match (&self.steps[region], self.painted.paint_of(region)) {
            (Some(steps), PreparedPaint::Fade(fade)) => steps.at(fade.field.at(point)),
            _ => 0,
        };
        RegionStep { region, step }
    }

    /// How far around a place of the plastic, mm, all of it belongs to this region step, as the
    /// place does; the place is so deep, mm, and no deeper than colour reaches. 0 where nothing is
    /// known.
    pub(super) fn around_mm(&self, region_step: RegionStep, place_mm: DVec3, depth_mm: f64) -> f64 {
        if self.steps[region_step.region].is_some() {
            return 0.0;
        }
        // At a place `r` away the skin is no more than `depth + r` off, and what is nearest there
        // no farther from here than `depth + 2 r`.
        let most_mm = 2.0 * self.painted.plan().skin_mm - depth_mm;
        let clear_mm = self.region_clearance_mm(region_step.region, place_mm, most_mm);
        (0.5 * (clear_mm - depth_mm)).max(0.0)
    }

    /// A distance from a place, mm, no more than `most_mm`: if any point of the skin within it is
    /// of this region, all of them are.
    pub(super) fn region_clearance_mm(&self, region: usize, place_mm: DVec3, most_mm: f64) -> f64 {
        let mut least_mm = most_mm;
        for &asked in &self.asked {
            least_mm = self
                .painted
                .coverage_of(asked)
                .clearance_mm(place_mm, least_mm);
            if asked == region || least_mm <= 0.0 {
                break;
            }
        }
        least_mm
    }

    /// Whether a part of a facet is surely of one region in this layer; where it is not known, no.
    pub(super) fn is_of_one_region(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        let mut asked = self.asked.iter();
        asked.all(|&region| {
            let area = self.painted.coverage_of(region);
            area.is_even(facet, corners_mm)
        })
    }

    /// Whether a part of a facet surely has one region step in this layer; where it is not known,
    /// no.
    pub(super) fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        let plain = |region: &usize| self.steps[*region].is_none();
        plain(&self.rest)
            && self.asked.iter().all(plain)
            && self.is_of_one_region(facet, corners_mm)
    }

    /// Whether another layer's points have the same region steps, place for place, as far as the
    /// regions' choice goes.
    pub(super) fn alike(&self, other: &Self) -> bool {
        self.asked == other.asked && self.rest == other.rest
    }

    /// Whether all of a layer is shared out as the regions of another plan of the same part share
    /// it out, whatever their blends.
    pub(super) fn fall_as(&self, other: &Self) -> bool {
        let (plan, others) = (self.painted.plan(), other.painted.plan());
        let alike = self.alike(other)
            && plan.skin_mm == others.skin_mm
            && plan.machine.nozzle_mm == others.machine.nozzle_mm;
        let same_area = |region: &usize| self.painted.same_area(other.painted, *region);
        let same_steps = |region: &usize| match (&self.steps[*region], &other.steps[*region]) {
            (None, None) => true,
            (Some(own), Some(its)) => {
                let both = (plan.regions.get(*region), others.regions.get(*region));
                own.edges_mm() == its.edges_mm() && both.0.map(along) == both.1.map(along)
            }
            _ => false,
        };
        // Height decides about the rest, and has done so for both.
        let all = || self.asked.iter().chain([&self.rest]);
        alike && self.asked.iter().all(same_area) && all().all(same_steps)
    }

    /// The blend of a region step in this layer.
    pub(super) fn shares(&self, region_step: RegionStep, middle_mm: f64) -> Shares {
        shares(self.painted, self.steps, region_step, middle_mm)
    }
}

/// What a region's fade runs along, if it has one.
fn along(region: &Region) -> Option<&Field> {
    match &region.paint {
        Paint::Fade { along, .. } => Some(along),
        Paint::Fixed(_) | Paint::Blend(_) => None,
    }
}

/// The blend of a region step in a layer of a middle height; `steps` are those of the regions'
/// fades.
pub(super) fn shares(
    painted: &Painted,
    steps: &[Option<RampSteps>],
    region_step: RegionStep,
    middle_mm: f64,
) -> Shares {
    let paint = painted.paint_of(region_step.region);
    let step = steps[region_step.region].as_ref();
    step.and_then(|steps| steps.shares(region_step.step))
        .or_else(|| paint.shares_at_height(middle_mm))
        .unwrap_or(Shares::SINGLE)
}

/// Sums for each region step, in a fixed order.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Tally(pub Vec<(RegionStep, f64)>);

impl Tally {
    pub(super) fn add(&mut self, region_step: RegionStep, amount: f64) {
        match self.0.iter_mut().find(|(t, _)| *t == region_step) {
            Some((_, sum)) => *sum += amount,
            None => self.0.push((region_step, amount)),
        }
    }

    pub(super) fn of(&self, region_step: RegionStep) -> f64 {
        let found = self.0.iter().find(|(t, _)| *t == region_step);
        found.map_or(0.0, |(_, sum)| *sum)
    }

    pub(super) fn sum(&self) -> f64 {
        self.0.iter().map(|(_, sum)| sum).sum()
    }
}
