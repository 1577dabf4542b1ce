//! A schedule fitted into what a screen takes.

use blend::{Lab, MixModel, Shares, ciede2000};
use plan::economy::{Item, stored};
use plan::{Painted, Schedule};

use super::fades;
use super::layer::{Layer, keyed};
use super::table::{Off, PanelTable, Screen, Swap};

impl PanelTable {
    /// Fits a schedule into what a screen takes.
    pub fn new(painted: &Painted, schedule: &Schedule, screen: Screen) -> Self {
        let model = painted.model();
        let layers: Vec<Layer> = schedule
            .layers
            .iter()
            .filter_map(|layer| {
                let main = layer.main_dose()?;
                let doses = layer.doses.iter().filter(|d| d.area_mm2 > 0.0);
                Some(Layer {
                    bottom_mm: layer.span.bottom_mm,
                    top_mm: layer.span.top_mm,
                    main: main.shares,
                    region: main.region,
                    seen: doses.map(|d| (d.lab, d.area_mm2)).collect(),
                })
            })
            .collect();
        let fades = fades::best(&layers, screen.fades.max(1), screen.outside, model);
        let of_fades = |layer: &Layer| fades::at(&fades, 0.5 * (layer.bottom_mm + layer.top_mm));
        let fades_off = off(&layers, of_fades, model);
        let (stored, of_layer) = in_store(&layers, screen.stored.max(1), model);
        let mut swaps: Vec<Swap> = Vec::new();
        for (layer, &blend) in layers.iter().zip(&of_layer) {
            if swaps.last().is_none_or(|last| last.blend != blend) {
                swaps.push(Swap {
                    from_mm: layer.bottom_mm,
                    blend,
                });
            }
        }
        let mut next = of_layer.iter();
        let of_stored = |_: &Layer| stored.get(*next.next()?).copied();
        let stored_off = off(&layers, of_stored, model);
        Self {
            fades,
            fades_off,
            stored,
            swaps,
            stored_off,
        }
    }
}

/// The blends to be stored, and for each layer the one that suits it best.
fn in_store(layers: &[Layer], count: usize, model: &dyn MixModel) -> (Vec<Shares>, Vec<usize>) {
    let items: Vec<Item> = layers
        .iter()
        .map(|layer| Item {
            shares: keyed(&layer.main),
            weight: layer.area_mm2().max(1e-9),
        })
        .collect();
    let blends = stored(&items, count, model).blends;
    let labs: Vec<Lab> = blends.iter().map(|b| model.mix(b).to_lab()).collect();
    let nearest = |layer: &Layer| {
        let costs = labs.iter().map(|lab| layer.cost(*lab)).enumerate();
        costs
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |(i, _)| i)
    };
    let of_layer = layers.iter().map(nearest).collect();
    (blends, of_layer)
}

/// How far a blend for each layer is off.
fn off(
    layers: &[Layer],
    mut blend: impl FnMut(&Layer) -> Option<Shares>,
    model: &dyn MixModel,
) -> Off {
    let mut all: Vec<(f64, f64)> = Vec::new();
    for layer in layers {
        if let Some(shares) = blend(layer) {
            let lab = model.mix(&shares).to_lab();
            let differences = layer.seen.iter();
            all.extend(differences.map(|(asked, area)| (ciede2000(*asked, lab), *area)));
        }
    }
    let area: f64 = all.iter().map(|(_, area)| area).sum();
    if area <= 0.0 {
        return Off::default();
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut passed = 0.0;
    let most = all.iter().find(|(_, area_here)| {
        passed += area_here;
        passed >= 0.95 * area
    });
    Off {
        mean_de00: all.iter().map(|(de, area)| de * area).sum::<f64>() / area,
        p95_de00: most.map_or(0.0, |m| m.0),
        worst_de00: all.last().map_or(0.0, |m| m.0),
    }
}
