//! What lies where within one layer.

use geometry::{LayerSpan, SurfacePoint};

use super::steps::Steps;
use crate::Painted;
use crate::painted::Tone;

/// A region, and a step of its fade if that runs across layers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tint {
    /// Index of the region in the plan.
    pub region: usize,
    /// The step of its fade, from 0.
    pub step: usize,
}

/// One layer's view of the regions: what height alone decides is decided, the rest is kept
/// to be asked.
pub(super) struct Tints<'a> {
    painted: &'a Painted,
    steps: &'a [Option<Steps>],
    /// Regions that may have points of the layer, from the top.
    asked: Vec<usize>,
    /// The region that has every other point.
    rest: usize,
}

impl<'a> Tints<'a> {
    pub(super) fn new(painted: &'a Painted, steps: &'a [Option<Steps>], span: LayerSpan) -> Self {
        let skin_mm = painted.plan().skin_mm;
        let (low, high) = (span.bottom_mm - skin_mm, span.top_mm + skin_mm);
        let mut asked = Vec::new();
        let mut rest = 0;
        for &region in painted.topmost_first() {
            let area = painted.area_of(region);
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

    /// The one tint of the whole layer, if height alone decides it.
    pub(super) fn single(&self) -> Option<Tint> {
        let alone = self.asked.is_empty() && self.steps[self.rest].is_none();
        alone.then_some(Tint {
            region: self.rest,
            step: 0,
        })
    }

    /// The tint at a point of the skin.
    pub(super) fn at(&self, point: SurfacePoint) -> Tint {
        let has = |&&region: &&usize| self.painted.area_of(region).contains(point);
        let region = self.asked.iter().find(has).copied().unwrap_or(self.rest);
        let step = match (&self.steps[region], self.painted.tone_of(region)) {
            (Some(steps), Tone::Fade(fade)) => steps.at(fade.field.at(point)),
            _ => 0,
        };
        Tint { region, step }
    }

    /// A distance from a place, mm: if any point of the skin within it has this tint, all of
    /// them have. 0 where nothing is known.
    pub(super) fn steady_mm(&self, tint: Tint, place_mm: geometry::DVec3) -> f64 {
        if self.steps[tint.region].is_some() {
            return 0.0;
        }
        let mut steady_mm = f64::INFINITY;
        for &region in &self.asked {
            steady_mm = steady_mm.min(self.painted.area_of(region).steady_mm(place_mm));
            if region == tint.region {
                break;
            }
        }
        steady_mm
    }

    /// Whether another layer's points have the same tints, place for place, as far as the
    /// regions' choice goes.
    pub(super) fn alike(&self, other: &Self) -> bool {
        self.asked == other.asked && self.rest == other.rest
    }

    /// The blend of a tint in this layer.
    pub(super) fn shares(&self, tint: Tint, middle_mm: f64) -> blend::Shares {
        let tone = self.painted.tone_of(tint.region);
        let step = self.steps[tint.region].as_ref();
        step.and_then(|steps| steps.shares(tint.step))
            .or_else(|| tone.shares_at_height(middle_mm))
            .unwrap_or(blend::Shares::SINGLE)
    }
}

/// Sums for each tint, in a fixed order.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Tally(pub Vec<(Tint, f64)>);

impl Tally {
    pub(super) fn add(&mut self, tint: Tint, amount: f64) {
        match self.0.iter_mut().find(|(t, _)| *t == tint) {
            Some((_, sum)) => *sum += amount,
            None => self.0.push((tint, amount)),
        }
    }

    pub(super) fn of(&self, tint: Tint) -> f64 {
        let found = self.0.iter().find(|(t, _)| *t == tint);
        found.map_or(0.0, |(_, sum)| *sum)
    }

    pub(super) fn sum(&self) -> f64 {
        self.0.iter().map(|(_, sum)| sum).sum()
    }
}
