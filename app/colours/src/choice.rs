//! How many blends, and which.

use blend::reach::{MOST_BLENDS, Palette, palettes};
use blend::{Lab, MixModel, Shares, Srgb, Xyz, ciede2000};
use geometry::mask::Nearness;
use geometry::pieces::{Finest, NO_LABEL};
use geometry::{Cancelled, Progress};
use plan::Plan;
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use serde::Serialize;

use crate::cost::{cost, in_layers};
use crate::labels::weighting;
use crate::{Counted, Sampled};

/// Why no blends can be chosen.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ChoiceError {
    /// No area has a colour.
    #[error("no part of the model has a colour; export it with its colours")]
    NoColour,
    /// No pixel of a picture has a colour.
    #[error("is clear all over; save the picture with colours that are more than half opaque")]
    Clear,
    /// The layers make no sense.
    #[error("{0}")]
    Layers(#[from] geometry::layers::LayerPlanError),
    /// It was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// What so many blends give, and what they cost.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Row {
    /// How many blends.
    pub blends: usize,
    /// The mean difference of the model's colours from the blends, ΔE00, by area, each from the
    /// blend that is nearest to it.
    pub mean_de00: f64,
    /// The same once details too fine to be printed are left out.
    pub smoothed_de00: f64,
    /// Changes of blend for each layer, the mean.
    pub changes_per_layer: f64,
    /// What is flushed for them if none of it goes inside the part, g.
    pub purge_g: f64,
    /// Minutes that this takes at the usual flow.
    pub purge_minutes: f64,
}

/// Blends for the colours of a model, for one blend and for each number of them up to some.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// A row for each number of blends, rising from one.
    pub rows: Vec<Row>,
    /// The number of blends to take: the first after which no further one is worth half a ΔE00 of
    /// the mean (our choice, no source).
    pub recommended: usize,
    pub(crate) palettes: Vec<Palette>,
    pub(crate) by: Nearness,
    pub(crate) finest: Finest,
    /// Area with and without a colour, mm².
    pub(crate) area_mm2: (f64, f64),
}

/// Chooses blends that a plan's machine can feed from its spools, for up to `most` of them.
///
/// # Errors
/// [`ChoiceError`].
pub fn choose(
    sampled: &Sampled,
    counted: &Counted,
    plan: &Plan,
    (by, finest): (Nearness, Finest),
    most: usize,
    progress: &Progress,
) -> Result<Choice, ChoiceError> {
    let model = plan.model();
    let palettes = palettes_for(counted, plan, model.as_ref(), by, most, progress);
    if palettes.is_empty() {
        return Err(ChoiceError::NoColour);
    }
    progress.check()?;
    let height_mm = sampled.surface().bounds_mm().1.z;
    let spans = plan.layers.spans(height_mm)?;
    progress.stage("Sorting the model's colours");
    let among = |palette: &Palette| codes(palette).map(|(_, lab)| lab).collect::<Vec<_>>();
    let lists: Vec<Vec<Lab>> = palettes.iter().map(among).collect();
    let labellings = sampled.smooth_labels(&lists, by, finest, progress)?;
    progress.check()?;
    let layers = in_layers(sampled, &labellings, &spans);
    let row = |(palette, (labels, layers)): (&Palette, (&Vec<u8>, &Vec<u64>))| {
        let shares: Vec<Shares> = palette.blends.iter().map(|b| b.shares).collect();
        let cost = cost(layers, &shares, plan, model.as_ref());
        Row {
            blends: palette.blends.len(),
            mean_de00: palette.mean_de00,
            smoothed_de00: mean_de00(sampled, labels, palette),
            changes_per_layer: cost.changes_per_layer,
            purge_g: cost.purge_g,
            purge_minutes: plan.machine.minutes(cost.purge_mm3),
        }
    };
    // Much of each goes in order, so they go side by side.
    let each = palettes.par_iter().zip(labellings.par_iter().zip(&layers));
    Ok(Choice {
        rows: each.map(row).collect(),
        recommended: recommended(&palettes),
        palettes,
        by,
        finest,
        area_mm2: (counted.coloured_mm2(), counted.uncoloured_mm2),
    })
}

/// Blends that a plan's machine can feed from its spools for counted colours: a palette of one, of
/// two, and of more, up to `most`. There are none if nothing was counted.
pub(crate) fn palettes_for(
    counted: &Counted,
    plan: &Plan,
    model: &dyn MixModel,
    by: Nearness,
    most: usize,
    progress: &Progress,
) -> Vec<Palette> {
    progress.stage("Choosing blends");
    let fed = |shares: &Shares| plan.machine.fed(shares);
    let most = most.min(MOST_BLENDS);
    let mut found = palettes(model, &fed, &counted.wanted(), weighting(by), most);
    found.iter_mut().for_each(told_apart);
    found.dedup_by_key(|palette| palette.blends.len());
    found
}

/// The number of blends to take of palettes with some mean differences: the first after which no
/// further one is worth half a ΔE00 of the mean.
pub(crate) fn recommended(found: &[Palette]) -> usize {
    let means: Vec<f64> = found.iter().map(|palette| palette.mean_de00).collect();
    let place = Palette::recommended(&means);
    found.get(place).map_or(1, |palette| palette.blends.len())
}

/// The sRGB codes of a palette's blends, and the colours of these.
pub(crate) fn codes(palette: &Palette) -> impl Iterator<Item = (Srgb, Lab)> + '_ {
    palette.blends.iter().map(|blend| {
        let code = blend.lab.to_xyz().to_srgb();
        (code, Xyz::from_srgb(code).to_lab())
    })
}

/// Leaves out blends whose codes are those of one before: a mask could not tell them apart.
fn told_apart(palette: &mut Palette) {
    let codes: Vec<Srgb> = codes(palette).map(|(code, _)| code).collect();
    let first = |i: usize| codes.iter().position(|code| codes.get(i) == Some(code)) == Some(i);
    let kept: Vec<bool> = (0..codes.len()).map(first).collect();
    let mut kept_blends = kept.iter();
    palette
        .blends
        .retain(|_| kept_blends.next().copied().unwrap_or(true));
    let mut kept_weights = kept.iter();
    palette
        .weights
        .retain(|_| kept_weights.next().copied().unwrap_or(true));
}

/// The mean difference of the pieces' middles from the blends of their labels, by area.
fn mean_de00(sampled: &Sampled, labels: &[u8], palette: &Palette) -> f64 {
    let distinct = sampled.distinct();
    // Few pairs of a colour and a label are met by many pieces.
    let mut areas: FxHashMap<(u32, u8), f64> = FxHashMap::default();
    for (piece, (label, area)) in labels.iter().zip(sampled.area_mm2()).enumerate() {
        let middle = sampled.of_piece(piece).first();
        if let Some(colour) = middle.and_then(|place| distinct.stand_in(*place)) {
            // What has no colour gets the first blend, which covers all.
            let label = if *label == NO_LABEL { 0 } else { *label };
            *areas.entry((colour, label)).or_default() += f64::from(*area);
        }
    }
    // In order, so that the sum is always the same.
    let mut areas: Vec<((u32, u8), f64)> = areas.into_iter().collect();
    areas.sort_unstable_by_key(|(pair, _)| *pair);
    let (mut sum, mut all) = (0.0, 0.0);
    for ((colour, label), area) in areas {
        let lab = distinct.stand_ins().get(colour as usize);
        if let Some((lab, blend)) = lab.zip(palette.blends.get(usize::from(label))) {
            sum += area * ciede2000(*lab, blend.lab);
            all += area;
        }
    }
    sum / f64::max(all, f64::MIN_POSITIVE)
}

impl Choice {
    /// What so many blends give.
    pub fn row(&self, blends: usize) -> Option<&Row> {
        self.rows.iter().find(|row| row.blends == blends)
    }

    pub(crate) fn palette(&self, blends: usize) -> Option<&Palette> {
        self.palettes
            .iter()
            .find(|palette| palette.blends.len() == blends)
    }

    /// The most blends that are of any use.
    pub fn most(&self) -> usize {
        self.rows.last().map_or(0, |row| row.blends)
    }

    /// The share of the area that the file gives no colour.
    pub fn uncoloured(&self) -> f64 {
        let (with, without) = self.area_mm2;
        without / f64::max(with + without, f64::MIN_POSITIVE)
    }
}
