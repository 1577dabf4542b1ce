//! A fade across layers as few even steps of colour.

use blend::{MixModel, Ramp, Shares, ciede2000};

use crate::Painted;
use crate::painted::PreparedPaint;

/// Places at which a fade's colour is looked at to measure its way.
const LOOKS: usize = 1024;
/// The most steps that a fade is cut into, whatever the bound.
const MOST_STEPS: usize = 256;

/// The steps of one fade.
#[derive(Clone, Debug, PartialEq)]
pub struct RampSteps {
    /// Where one step ends and the next begins, mm, rising.
    edges_mm: Vec<f64>,
    /// The blend of each step: one more than there are edges.
    shares: Vec<Shares>,
}

/// For each region the steps of its fade, if it has one that runs across layers.
pub(super) fn of_regions(painted: &Painted) -> Vec<Option<RampSteps>> {
    let plan = painted.plan();
    (0..plan.regions.len())
        .map(|i| match painted.paint_of(i) {
            PreparedPaint::Fade(fade) if !fade.level => {
                Some(RampSteps::new(&fade.ramp, painted.model(), plan.step_de00))
            }
            _ => None,
        })
        .collect()
}

impl RampSteps {
    /// Cuts a fade into the fewest steps of equal colour difference along its way, none of
    /// more than `step_de00`; each has the blend at the middle of its way.
    pub fn new(ramp: &Ramp, model: &dyn MixModel, step_de00: f64) -> Self {
        let (from, to) = ramp.extent_mm().unwrap_or((0.0, 0.0));
        let place = |i: usize| from + (to - from) * i as f64 / LOOKS as f64;
        let mut way = vec![0.0];
        let mut before = model.mix(&ramp.at(from)).to_lab();
        for i in 1..=LOOKS {
            let here = model.mix(&ramp.at(place(i))).to_lab();
            way.push(way[i - 1] + ciede2000(before, here));
            before = here;
        }
        let fewest = (way[LOOKS] / step_de00)
            .ceil()
            .clamp(1.0, MOST_STEPS as f64) as usize;
        let cut = |count| Self::even(ramp, &way, &place, count);
        // ΔE00 is no metric: the difference of two shades can be more than the way between
        // them, so the bound is looked after.
        let within = |steps: &Self| {
            let labs: Vec<_> = steps.shares.iter().map(|s| model.mix(s).to_lab()).collect();
            labs.windows(2).all(|p| ciede2000(p[0], p[1]) <= step_de00)
        };
        (fewest..MOST_STEPS)
            .map(cut)
            .find(within)
            .unwrap_or_else(|| cut(MOST_STEPS))
    }

    /// RampSteps of equal way; `way` is measured at each `place`.
    fn even(ramp: &Ramp, way: &[f64], place: &dyn Fn(usize) -> f64, count: usize) -> Self {
        let whole = way[LOOKS];
        let place_of = |part: f64| {
            let wanted = whole * part;
            let after = way.partition_point(|&w| w < wanted).clamp(1, LOOKS);
            let (low, high) = (way[after - 1], way[after]);
            let t = match high > low {
                true => ((wanted - low) / (high - low)).clamp(0.0, 1.0),
                false => 0.5,
            };
            place(after - 1) + (place(after) - place(after - 1)) * t
        };
        let part = |steps: f64| steps / count as f64;
        Self {
            edges_mm: (1..count).map(|i| place_of(part(i as f64))).collect(),
            shares: (0..count)
                .map(|i| ramp.at(place_of(part(i as f64 + 0.5))))
                .collect(),
        }
    }

    /// Places along the fade at which one step ends and the next begins, mm, rising.
    pub fn edges_mm(&self) -> &[f64] {
        &self.edges_mm
    }

    /// The step at a place along the fade.
    pub fn at(&self, at_mm: f64) -> usize {
        self.edges_mm.partition_point(|&edge| edge <= at_mm)
    }

    /// The blend of a step.
    pub fn shares(&self, step: usize) -> Option<Shares> {
        self.shares.get(step).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::{Fade, LinearLight, Spacing, Spool, SpoolColour, Srgb, Stop};

    #[test]
    fn steps_are_even_and_within_the_bound() {
        let spool = |code| Spool::new("x", SpoolColour::Hex(Srgb(code)));
        let model = LinearLight::new(&[spool([10, 10, 60]), spool([250, 240, 200])]);
        let stop = |at_mm, a: f64| Stop {
            at_mm,
            shares: Shares::new(&[a, 1.0 - a]).expect("shares"),
        };
        let fade = Fade {
            stops: vec![stop(-5.0, 1.0), stop(3.0, 0.4), stop(20.0, 0.0)],
            spacing: Spacing::Linear,
        };
        let ramp = Ramp::new(&fade, &model, None);
        for bound in [2.0, 5.0, 20.0, 500.0] {
            let steps = RampSteps::new(&ramp, &model, bound);
            assert_eq!(steps.edges_mm.len() + 1, steps.shares.len());
            assert!(steps.edges_mm.is_sorted());
            let labs: Vec<_> = steps.shares.iter().map(|s| model.mix(s).to_lab()).collect();
            for pair in labs.windows(2) {
                assert!(ciede2000(pair[0], pair[1]) <= bound);
            }
            assert_eq!((steps.at(-9.0), steps.at(99.0)), (0, labs.len() - 1));
        }
        assert_eq!(RampSteps::new(&ramp, &model, 500.0).shares.len(), 1);
    }
}
