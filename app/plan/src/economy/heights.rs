//! From extruded volume to height and back.

use super::{Extrusion, Purpose};
use crate::schedule::Schedule;

/// How much plastic has been laid at every height, waste included. Within a layer it is taken
/// to be laid evenly.
#[derive(Clone, Debug, PartialEq)]
pub struct Heights {
    /// Heights of layer boundaries, mm, rising: one more than there are layers.
    at_mm: Vec<f64>,
    /// Extruded volume at each, mm³.
    laid_mm3: Vec<f64>,
}

impl Heights {
    /// Of an extrusion of a schedule.
    pub fn new(extrusion: &Extrusion, schedule: &Schedule) -> Self {
        let mut of_layer = vec![0.0; schedule.layers.len()];
        for stretch in &extrusion.stretches {
            if let Some(sum) = of_layer.get_mut(stretch.layer) {
                *sum += stretch.volume_mm3;
            }
        }
        let bottom = schedule.layers.first().map_or(0.0, |l| l.span.bottom_mm);
        let (mut at_mm, mut laid_mm3) = (vec![bottom], vec![0.0]);
        let mut sum = 0.0;
        for (layer, volume) in schedule.layers.iter().zip(of_layer) {
            sum += volume;
            at_mm.push(layer.span.top_mm);
            laid_mm3.push(sum);
        }
        Self { at_mm, laid_mm3 }
    }

    /// Extruded volume at a height, mm³.
    pub fn laid_mm3(&self, height_mm: f64) -> f64 {
        between(&self.at_mm, &self.laid_mm3, height_mm)
    }

    /// Extruded volume for a mm of height about a height, mm³/mm.
    pub fn slope_mm3_per_mm(&self, at_mm: f64) -> f64 {
        let (low, high) = ((at_mm - 0.5).max(0.0), (at_mm + 0.5).min(self.top_mm()));
        (self.laid_mm3(high) - self.laid_mm3(low)) / (high - low).max(1e-9)
    }

    /// The height at an extruded volume, mm.
    pub fn height_mm(&self, laid_mm3: f64) -> f64 {
        between(&self.laid_mm3, &self.at_mm, laid_mm3)
    }

    /// Height of the part, mm.
    pub fn top_mm(&self) -> f64 {
        self.at_mm.last().copied().unwrap_or(0.0)
    }
}

/// Where in an extrusion the main dose of a layer is seen, from and to, mm³: the dose of the
/// largest visible area.
pub(crate) fn main_skin_mm3(extrusion: &Extrusion, layer: usize) -> Option<(f64, f64)> {
    largest_skin_mm3(extrusion, layer, |_| true)
}

/// The same of the doses of a region; none where the layer has none.
pub(crate) fn region_skin_mm3(
    extrusion: &Extrusion,
    schedule: &Schedule,
    layer: usize,
    region: usize,
) -> Option<(f64, f64)> {
    let doses = &schedule.layers.get(layer)?.doses;
    let is_its = |dose: usize| doses.get(dose).is_some_and(|d| d.region == region);
    largest_skin_mm3(extrusion, layer, is_its)
}

fn largest_skin_mm3(
    extrusion: &Extrusion,
    layer: usize,
    counts: impl Fn(usize) -> bool,
) -> Option<(f64, f64)> {
    let mut found: Option<(f64, (f64, f64))> = None;
    let mut at = 0.0;
    for stretch in &extrusion.stretches {
        let end = at + stretch.volume_mm3;
        if let Purpose::Skin { dose, area_mm2, .. } = stretch.purpose
            && stretch.layer == layer
            && counts(dose)
            && found.is_none_or(|(most, _)| area_mm2 > most)
        {
            found = Some((area_mm2, (at, end)));
        }
        at = end;
    }
    found.map(|(_, place)| place)
}

/// Interpolates a rising curve; beyond its ends it goes on as its ends do not: it stands.
fn between(x: &[f64], y: &[f64], at: f64) -> f64 {
    let after = x.partition_point(|&v| v <= at);
    let pair = |i: usize| Some((*x.get(i)?, *y.get(i)?));
    match (after.checked_sub(1).and_then(pair), pair(after)) {
        (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (at - x0) / (x1 - x0),
        (Some((_, y)), None) | (None, Some((_, y))) => y,
        (None, None) => 0.0,
    }
}
