//! How far what comes out is from what was asked.

use std::collections::HashMap;

use blend::{MixModel, Shares, ciede2000};

use super::{Cell, Commands, DeliveredDose, DeliveredLayer, Delivery, cells, delivered};
use crate::economy::{Extrusion, Purpose};
use crate::machine::Chamber;
use crate::schedule::Schedule;

/// Follows commands through the chamber and compares all that is seen with what the schedule
/// asks for.
pub fn assess(
    extrusion: &Extrusion,
    schedule: &Schedule,
    commands: &Commands,
    chamber: &Chamber,
    model: &dyn MixModel,
) -> Delivery {
    let cells = cells(extrusion, chamber);
    let out = of_cells(&cells, commands, chamber);
    Tallied::new(&cells, &out, model).delivery(schedule, &fed(extrusion, commands), model)
}

/// The mean blend that is fed while each dose is laid, by layer and dose.
fn fed(extrusion: &Extrusion, commands: &Commands) -> HashMap<(usize, usize), Shares> {
    let count = commands.start().map_or(0, |s| s.count());
    let mut found = HashMap::new();
    for (stretch, from) in extrusion.stretches.iter().zip(extrusion.edges_mm3()) {
        if let Purpose::Skin { dose, .. } = stretch.purpose {
            let before = commands.fed_mm3(from, count);
            let after = commands.fed_mm3(from + stretch.volume_mm3, count);
            let parts: Vec<f64> = after
                .iter()
                .zip(&before)
                .map(|(a, b)| (a - b).max(0.0))
                .collect();
            if let Ok(shares) = Shares::from_weights(&parts) {
                found.insert((stretch.layer, dose), shares);
            }
        }
    }
    found
}

/// The blend that comes out on each cell.
pub(crate) fn of_cells(cells: &[Cell], commands: &Commands, chamber: &Chamber) -> Vec<Shares> {
    let (Some(start), Some(first)) = (commands.start(), cells.first()) else {
        return cells.iter().map(|c| c.asked).collect();
    };
    // Between cells lies what nobody sees; it is passed, and dropped.
    let mut edges = vec![first.from_mm3];
    let mut of_cell = Vec::with_capacity(cells.len());
    for cell in cells {
        if edges.last().is_some_and(|&last| last < cell.from_mm3) {
            edges.push(cell.from_mm3);
        }
        of_cell.push(edges.len() - 1);
        edges.push(cell.to_mm3);
    }
    let out = delivered(chamber, &start, &commands.feeds(), &edges);
    let found = of_cell.iter().zip(cells);
    found
        .map(|(&i, cell)| out.get(i).copied().unwrap_or(cell.asked))
        .collect()
}

/// ΔE00 of each cell: what compensation is judged by.
pub(crate) fn cell_de00(cells: &[Cell], out: &[Shares], model: &dyn MixModel) -> Vec<f64> {
    let mut colours = Colours::new(model);
    let pairs = cells.iter().zip(out);
    pairs
        .map(|(cell, out)| colours.difference(&cell.asked, out))
        .collect()
}

/// Its mean over the area.
pub(crate) fn mean_de00(cells: &[Cell], out: &[Shares], model: &dyn MixModel) -> f64 {
    let (mut area, mut sum) = (0.0, 0.0);
    for (cell, de00) in cells.iter().zip(cell_de00(cells, out, model)) {
        area += cell.area_mm2;
        sum += cell.area_mm2 * de00;
    }
    if area > 0.0 { sum / area } else { 0.0 }
}

/// Colours of blends asked for, kept while they stay the same.
struct Colours<'a> {
    model: &'a dyn MixModel,
    asked: Option<(Shares, blend::Lab)>,
}

impl<'a> Colours<'a> {
    fn new(model: &'a dyn MixModel) -> Self {
        Self { model, asked: None }
    }

    fn difference(&mut self, asked: &Shares, out: &Shares) -> f64 {
        if asked == out {
            return 0.0;
        }
        let lab = match self.asked {
            Some((known, lab)) if known == *asked => lab,
            _ => self.model.mix(asked).to_lab(),
        };
        self.asked = Some((*asked, lab));
        ciede2000(lab, self.model.mix(out).to_lab())
    }
}

/// Cells summed up by dose.
struct Tallied {
    /// For each layer and dose: volume, volume of each component, worst ΔE00.
    doses: Vec<Vec<Sum>>,
    /// ΔE00 and area of each cell.
    off: Vec<(f64, f64)>,
}

#[derive(Clone, Default)]
struct Sum {
    volume: f64,
    components: Vec<f64>,
    worst_de00: f64,
}

impl Tallied {
    fn new(cells: &[Cell], out: &[Shares], model: &dyn MixModel) -> Self {
        let mut colours = Colours::new(model);
        let mut doses: Vec<Vec<Sum>> = Vec::new();
        let mut off = Vec::with_capacity(cells.len());
        for (cell, out) in cells.iter().zip(out) {
            let de00 = colours.difference(&cell.asked, out);
            off.push((de00, cell.area_mm2));
            if doses.len() <= cell.layer {
                doses.resize(cell.layer + 1, Vec::new());
            }
            let layer = &mut doses[cell.layer];
            if layer.len() <= cell.dose {
                layer.resize(cell.dose + 1, Sum::default());
            }
            let sum = &mut layer[cell.dose];
            let volume = cell.to_mm3 - cell.from_mm3;
            sum.volume += volume;
            sum.components.resize(out.count(), 0.0);
            for (s, share) in sum.components.iter_mut().zip(out.as_slice()) {
                *s += volume * share;
            }
            sum.worst_de00 = sum.worst_de00.max(de00);
        }
        Self { doses, off }
    }

    fn delivery(
        mut self,
        schedule: &Schedule,
        fed: &HashMap<(usize, usize), Shares>,
        model: &dyn MixModel,
    ) -> Delivery {
        let layers = schedule
            .layers
            .iter()
            .enumerate()
            .map(|(i, layer)| DeliveredLayer {
                doses: layer
                    .doses
                    .iter()
                    .enumerate()
                    .map(|(j, dose)| {
                        let sum = self.doses.get(i).and_then(|l| l.get(j));
                        let mean = sum.and_then(|s| Shares::from_weights(&s.components).ok());
                        // A dose without any skin is what it was asked to be.
                        let shares = mean.unwrap_or(dose.shares);
                        let xyz = model.mix(&shares);
                        let lab = xyz.to_lab();
                        DeliveredDose {
                            fed: fed.get(&(i, j)).copied().unwrap_or(dose.shares),
                            shares,
                            lab,
                            srgb: xyz.to_srgb(),
                            de00: ciede2000(dose.lab, lab),
                            worst_de00: sum.map_or(0.0, |s| s.worst_de00),
                        }
                    })
                    .collect(),
            })
            .collect();
        let area: f64 = self.off.iter().map(|(_, area)| area).sum();
        let sum: f64 = self.off.iter().map(|(de00, area)| de00 * area).sum();
        Delivery {
            mean_de00: if area > 0.0 { sum / area } else { 0.0 },
            p95_de00: within(&mut self.off, 0.95 * area),
            worst_de00: self.off.iter().map(|(de00, _)| *de00).fold(0.0, f64::max),
            layers,
        }
    }
}

/// The ΔE00 that a part of the area stays within.
fn within(off: &mut [(f64, f64)], area: f64) -> f64 {
    off.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut passed = 0.0;
    for (de00, a) in off.iter() {
        passed += a;
        if passed >= area {
            return *de00;
        }
    }
    off.last().map_or(0.0, |(de00, _)| *de00)
}
