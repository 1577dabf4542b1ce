//! The blends that are stored.

use blend::{Lab, MixModel, Shares, Weighting, ciede2000, nearest_colour};
use plan::economy::{Item, stored};
use plan::{Plan, Schedule};
use serde::{Deserialize, Serialize};

/// How far stored blends are off what the plan asks for, over the visible area.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    /// Mean ΔE00.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the area stays within.
    pub p95_de00: f64,
    /// Greatest ΔE00.
    pub worst_de00: f64,
}

/// The blends that are stored, and what they stand for.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The blends.
    pub blends: Vec<Shares>,
    /// Their colours.
    pub labs: Vec<Lab>,
    /// For each the region that most of its area is of.
    pub region: Vec<usize>,
    /// Visible area of each, mm².
    pub area_mm2: Vec<f64>,
    /// How far they are off.
    pub fit: Fit,
}

impl Choice {
    /// Chooses at most `count` of the blends that a schedule asks for; see
    /// [`plan::economy::stored`]. None where nothing is visible.
    pub fn new(
        plan: &Plan,
        model: &dyn MixModel,
        schedule: &Schedule,
        count: usize,
    ) -> Option<Self> {
        let doses = schedule.layers.iter().flat_map(|l| &l.doses);
        let doses: Vec<_> = doses.filter(|d| d.area_mm2 > 0.0).collect();
        if doses.is_empty() {
            return None;
        }
        let items: Vec<Item> = doses
            .iter()
            .map(|dose| Item {
                shares: plan.machine.fed(&dose.shares),
                weight: dose.area_mm2,
            })
            .collect();
        let found = stored(&items, count, model);
        let labs: Vec<Lab> = found.blends.iter().map(|b| model.mix(b).to_lab()).collect();
        let mut by_region = vec![vec![0.0; plan.regions.len()]; found.blends.len()];
        let mut off = Vec::with_capacity(doses.len());
        for (dose, &blend) in doses.iter().zip(&found.of_item) {
            let lab = labs.get(blend).copied().unwrap_or(dose.lab);
            off.push((ciede2000(dose.lab, lab), dose.area_mm2));
            let place = by_region
                .get_mut(blend)
                .and_then(|b| b.get_mut(dose.region));
            if let Some(area) = place {
                *area += dose.area_mm2;
            }
        }
        let largest = |areas: &Vec<f64>| {
            let each = areas.iter().enumerate();
            each.max_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(i, _)| i)
        };
        Some(Self {
            region: by_region.iter().map(largest).collect(),
            area_mm2: by_region.iter().map(|areas| areas.iter().sum()).collect(),
            blends: found.blends,
            labs,
            fit: Fit::of(off),
        })
    }

    /// The stored blend that is nearest to a colour.
    pub fn nearest(&self, lab: Lab) -> u32 {
        let nearest = nearest_colour(lab, &self.labs, Weighting::default(), 0);
        nearest.map_or(0, |place| place as u32)
    }

    /// The stored blend that most of the skin has.
    pub fn largest(&self) -> u32 {
        let areas = self.area_mm2.iter().enumerate();
        let largest = areas.max_by(|a, b| a.1.total_cmp(b.1));
        largest.map_or(0, |(i, _)| i as u32)
    }
}

impl Fit {
    /// Of differences and their areas.
    fn of(mut off: Vec<(f64, f64)>) -> Self {
        off.sort_by(|a, b| a.0.total_cmp(&b.0));
        let area: f64 = off.iter().map(|o| o.1).sum();
        let mut passed = 0.0;
        let p95 = off.iter().find(|(_, here)| {
            passed += here;
            passed >= 0.95 * area
        });
        Self {
            mean_de00: off.iter().map(|(de, here)| de * here).sum::<f64>() / area,
            p95_de00: p95.map_or(0.0, |p| p.0),
            worst_de00: off.last().map_or(0.0, |o| o.0),
        }
    }
}
