//! The schedule as a short table to be keyed in at a printer's own screen.
//!
//! Some firmwares take no more than fades between two heights, and a few stored blends. The
//! table is the best that was found within those limits, with how far it is off: fades by
//! dynamic programming over the heights at which one may begin (R. Bellman, "On the
//! approximation of curves by line segments using dynamic programming", Communications of the
//! ACM 4(6), 1961, from memory), stored blends by [`plan::economy::stored`].

mod fades;
mod text;

use blend::{Lab, MixModel, Shares, ciede2000};
use plan::economy::{Item, stored};
use plan::{Painted, Schedule};
use serde::{Deserialize, Serialize};

pub use text::table;

/// Shares are keyed in as whole percents (common practice, no source).
const STEP: f64 = 0.01;

/// What a firmware can be told at its screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Screen {
    /// Fades with a start and an end height, 1 or more.
    pub fades: usize,
    /// Blends that it can store, 1 or more.
    pub stored: usize,
}

impl Screen {
    /// Four fades, and as many stored blends as the machine says, or eight.
    pub fn of(painted: &Painted) -> Self {
        Self {
            fades: 4,
            stored: painted.plan().machine.stored_blends.unwrap_or(8).max(1),
        }
    }
}

/// How far something is off what the plan asks for, over the visible area.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Off {
    /// Mean ΔE00.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the area stays within.
    pub most_de00: f64,
    /// Greatest ΔE00.
    pub worst_de00: f64,
}

/// A fade to be keyed in: the shares change evenly with height. With equal ends it is one blend.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FadeRow {
    /// Where it begins, mm.
    pub from_mm: f64,
    /// Where it ends, mm.
    pub to_mm: f64,
    /// The blend at its beginning.
    pub start: Shares,
    /// The blend at its end.
    pub end: Shares,
}

/// From a height upwards a stored blend.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Swap {
    /// From where, mm.
    pub from_mm: f64,
    /// Index of the blend.
    pub blend: usize,
}

/// The tables.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Keyed {
    /// Fades, from the bed up, without gaps.
    pub fades: Vec<FadeRow>,
    /// How far the fades are off.
    pub fades_off: Off,
    /// Blends to be stored.
    pub stored: Vec<Shares>,
    /// Where to change between them, from the bed up.
    pub swaps: Vec<Swap>,
    /// How far the stored blends are off.
    pub stored_off: Off,
}

/// One layer as the tables see it: they give it one blend.
struct Layer {
    bottom_mm: f64,
    top_mm: f64,
    /// The blend of most of what is seen.
    main: Shares,
    /// The region of that.
    region: usize,
    /// All colours that are asked for, with their visible area.
    seen: Vec<(Lab, f64)>,
}

impl Layer {
    fn area_mm2(&self) -> f64 {
        self.seen.iter().map(|(_, area)| area).sum()
    }

    /// The sum of squared ΔE00 by area, with one colour all over.
    fn cost(&self, lab: Lab) -> f64 {
        let square = |(asked, area): &(Lab, f64)| area * ciede2000(*asked, lab).powi(2);
        self.seen.iter().map(square).sum()
    }
}

impl Keyed {
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
        let fades = fades::best(&layers, screen.fades.max(1), model);
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

/// Shares in whole steps that can be keyed in.
fn keyed(shares: &Shares) -> Shares {
    shares.snapped(STEP)
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
        most_de00: most.map_or(0.0, |m| m.0),
        worst_de00: all.last().map_or(0.0, |m| m.0),
    }
}
