//! Regions that do not come out as they are asked for, in words.

use crate::Plan;
use crate::delivery::Delivery;
use crate::document::SharedLayers;
use crate::schedule::{Concern, Layer, Schedule, Warning};

/// A region that nowhere comes nearer than so many times what a blend may be off has not come
/// out at all.
const NOWHERE: f64 = 2.0;

/// Layers of a region with doses that are off.
#[derive(Default)]
struct Off {
    first: usize,
    last: usize,
    doses: usize,
    worst_de00: f64,
}

impl Off {
    fn add(&mut self, layer: usize, de00: f64) {
        if self.doses == 0 {
            self.first = layer;
        }
        self.last = layer;
        self.doses += 1;
        self.worst_de00 = self.worst_de00.max(de00);
    }
}

/// What a person should know of how a part comes out: doses in layers of several blends that are
/// off by more than the machine file allows in spite of their flush, and regions whose blend is
/// reached nowhere, because they have too little plastic for it to settle.
pub(super) fn warnings(plan: &Plan, schedule: &Schedule, delivery: &Delivery) -> Vec<Warning> {
    // Where regions yield to each other, being off is what was asked for.
    if plan.laying.shared_layers == SharedLayers::OneBlend {
        return Vec::new();
    }
    let allowed = plan.machine.flush.allowed_de00;
    let mut found = Vec::new();
    for (region, name) in plan.regions.iter().map(|r| &r.name).enumerate() {
        let (mut off, mut all) = (Off::default(), Off::default());
        let mut nearest = f64::INFINITY;
        for (i, (layer, out)) in schedule.layers.iter().zip(&delivery.layers).enumerate() {
            let pairs = layer.doses.iter().zip(&out.doses);
            for (_, out) in pairs.filter(|(d, _)| d.region == region && d.area_mm2 > 0.0) {
                nearest = nearest.min(out.de00);
                all.add(i, out.de00);
                // A hair's breadth is rounding to what can be fed.
                if out.de00 > allowed + 0.1 && is_shared(layer) {
                    off.add(i, out.de00);
                }
            }
        }
        let missed = nearest.is_finite() && nearest > NOWHERE * allowed;
        let text = match (missed, off.doses) {
            (true, _) => format!(
                "region '{name}' never reaches its requested colour: it is off by ΔE00 \
                 {nearest:.1} at best, because it has too little plastic for the melt chamber to \
                 settle. Make it larger, leave it out, or purge for it (laying: purge_jumps: true)"
            ),
            (false, 0) => continue,
            (false, count) => format!(
                "region '{name}' is off by up to ΔE00 {:.1} in {count} of its doses; the machine \
                 file allows {allowed} where it shares layers",
                off.worst_de00
            ),
        };
        let range = if missed { &all } else { &off };
        found.push(Warning {
            about: Concern::Smeared,
            region: Some(region),
            first_layer: range.first,
            last_layer: range.last,
            text: format!("{text} ({}).", between(schedule, range.first, range.last)),
        });
    }
    found
}

fn is_shared(layer: &Layer) -> bool {
    layer.doses.windows(2).any(|d| d[0].shares != d[1].shares)
}

fn between(schedule: &Schedule, first: usize, last: usize) -> String {
    let layer = |i: usize| schedule.layers.get(i).map(|l| l.span);
    match (layer(first), layer(last)) {
        (Some(low), Some(high)) => format!("{:.1} to {:.1} mm", low.bottom_mm, high.top_mm),
        _ => String::new(),
    }
}
