//! A fade across layers as few even steps of colour.

use blend::{MixModel, Ramp, Shares, ciede2000};

use crate::Painted;
use crate::painted::PreparedPaint;

/// Places at which a fade's colour is first looked at to measure its way,
const LOOKS: usize = 256;
/// and between which it is looked at more closely where they differ by more than this, ΔE00,
const LOOK_DE00: f64 = 0.2;
/// halving the distance up to this many times: a little black in white changes all of it.
const MOST_HALVINGS: u32 = 24;
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
        let way = Way::along(ramp, model);
        let fewest = (way.whole() / step_de00)
            .ceil()
            .clamp(1.0, MOST_STEPS as f64) as usize;
        let cut = |count| Self::even(ramp, &way, count);
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

    /// Steps of equal way.
    fn even(ramp: &Ramp, way: &Way, count: usize) -> Self {
        let part = |steps: f64| steps / count as f64;
        Self {
            edges_mm: (1..count).map(|i| way.place_of(part(i as f64))).collect(),
            shares: (0..count)
                .map(|i| ramp.at(way.place_of(part(i as f64 + 0.5))))
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

/// The way that a fade's colour goes, ΔE00, at places along it, both rising.
struct Way(Vec<(f64, f64)>);

impl Way {
    fn along(ramp: &Ramp, model: &dyn MixModel) -> Self {
        let (from, to) = ramp.extent_mm().unwrap_or((0.0, 0.0));
        let place = |i: usize| from + (to - from) * i as f64 / LOOKS as f64;
        let colour = |at_mm: f64| model.mix(&ramp.at(at_mm)).to_lab();
        let mut here = (from, colour(from));
        let (mut points, mut way) = (vec![(from, 0.0)], 0.0);
        for i in 1..=LOOKS {
            // Ends of pieces still to be walked, the nearest last.
            let mut ahead = vec![(place(i), colour(place(i)), 0)];
            while let Some((at_mm, there, halvings)) = ahead.pop() {
                let length = ciede2000(here.1, there);
                if length > LOOK_DE00 && halvings < MOST_HALVINGS {
                    let middle = here.0.midpoint(at_mm);
                    ahead.push((at_mm, there, halvings + 1));
                    ahead.push((middle, colour(middle), halvings + 1));
                    continue;
                }
                way += length;
                here = (at_mm, there);
                points.push((at_mm, way));
            }
        }
        Self(points)
    }

    fn whole(&self) -> f64 {
        self.0.last().map_or(0.0, |(_, way)| *way)
    }

    /// The place at which a part of the way lies behind.
    fn place_of(&self, part: f64) -> f64 {
        let wanted = self.whole() * part;
        let after = self.0.partition_point(|(_, way)| *way < wanted).max(1);
        let last = self.0.len().saturating_sub(1);
        let after = after.min(last);
        let (low, high) = (self.0[after.saturating_sub(1)], self.0[after]);
        let t = match high.1 > low.1 {
            true => ((wanted - low.1) / (high.1 - low.1)).clamp(0.0, 1.0),
            false => 0.5,
        };
        low.0 + (high.0 - low.0) * t
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use blend::{Fade, KubelkaMunk, LinearLight, Spacing, Spool, SpoolColour, Srgb, Stop};

    /// A little black in white changes all of it: by the mixing of paints half of the way from
    /// white to black lies within a hundredth of the fade.
    #[test]
    fn steep_fades_are_cut_within_the_bound_as_well() {
        let spool = |code| Spool::new("x", SpoolColour::Hex(Srgb(code)));
        let spools = [spool([250, 250, 250]), spool([5, 5, 5])];
        let stop = |at_mm, a: f64| Stop {
            at_mm,
            shares: Shares::new(&[a, 1.0 - a]).expect("shares"),
        };
        let fade = Fade {
            stops: vec![stop(0.0, 1.0), stop(40.0, 0.0)],
            spacing: Spacing::Linear,
        };
        let models: [&dyn MixModel; 2] = [&KubelkaMunk::new(&spools), &LinearLight::new(&spools)];
        for model in models {
            let ramp = Ramp::new(&fade, model, None);
            let steps = RampSteps::new(&ramp, model, 2.0);
            let labs: Vec<_> = steps.shares.iter().map(|s| model.mix(s).to_lab()).collect();
            let worst = labs.windows(2).map(|p| ciede2000(p[0], p[1]));
            let worst = worst.fold(0.0, f64::max);
            assert!(worst <= 2.0, "{worst}");
            // About as few as the way from end to end needs.
            assert!(labs.len() < 80, "{}", labs.len());
            assert!(steps.edges_mm.is_sorted());
        }
    }

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
