//! What a person should know before printing.

use blend::{Shares, Spacing, ciede2000};
use geometry::layers;
use serde::{Deserialize, Serialize};

use super::Layer;
use super::apportion::Apportioned;
use super::fine_details::fine_details;
use crate::document::Region;
use crate::{Paint, Painted, Plan};

/// A colour missed by less than this is not worth a word (about the least difference that is
/// seen side by side: common practice, no source).
const WORTH_A_WORD_DE00: f64 = 1.0;
/// Round regions end in tips too small to lay; so much of a region's skin may be lost in
/// them, and so much of its layers may be narrow, without a word.
const TIPS: f64 = 0.1;
/// A region with less of the part's skin than this is not missed, mm².
const LEAST_AREA_MM2: f64 = 0.01;

/// Something that a person should know before printing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Warning {
    /// What it is about.
    pub about: Concern,
    /// The region it is about, if it is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub region: Option<usize>,
    /// First layer that it is about, from 0.
    pub first_layer: usize,
    /// Last layer that it is about.
    pub last_layer: usize,
    /// What is wrong, where, and what to do, in one or two sentences.
    pub text: String,
}

/// What a warning is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Concern {
    /// The mesh is open, so volumes and outlines are a best guess.
    OpenMesh,
    /// A region has skin but no layer is printed in its blend.
    NoLayer,
    /// A region has doses too small to be laid.
    TooSmall,
    /// A region is narrower than the nozzle.
    TooNarrow,
    /// The machine can't feed a blend as it is asked for.
    Limits,
    /// Light shines through a spool, and the plan has no wall.
    WallUnknown,
    /// Layers are thinner or thicker than the machine lays well.
    LayerHeight,
    /// A fade changes by more from one layer to the next than the plan's steps.
    CoarseFade,
    /// A picture or letters have details finer than what is printed.
    FineDetails,
    /// A region does not come out as it is asked for.
    Smeared,
}

/// Layers that something is true of.
#[derive(Clone, Copy)]
struct Range {
    first: usize,
    last: usize,
    count: usize,
}

impl Range {
    fn of(indices: impl IntoIterator<Item = usize>) -> Option<Self> {
        indices.into_iter().fold(None, |range, i| {
            Some(range.map_or(
                Self {
                    first: i,
                    last: i,
                    count: 1,
                },
                |r: Self| Self {
                    first: r.first.min(i),
                    last: r.last.max(i),
                    count: r.count + 1,
                },
            ))
        })
    }

    /// The range in words: `3 layers between 4.2 and 9.8 mm`.
    fn words(&self, cut: &[layers::Layer]) -> String {
        let height = |i: usize, top: bool| {
            cut.get(i).map_or(0.0, |layer| match top {
                true => layer.span.top_mm,
                false => layer.span.bottom_mm,
            })
        };
        let (low, high) = (height(self.first, false), height(self.last, true));
        match self.count {
            1 => format!("1 layer, {low:.2} to {high:.2} mm high"),
            n => format!("{n} layers between {low:.2} and {high:.2} mm"),
        }
    }
}

/// A translucent spool is seen through the wall that it makes, so its colour hangs on it.
fn wall_unknown(plan: &Plan, cut: &[layers::Layer]) -> Option<Warning> {
    let spool = plan.spools.iter().find(|s| s.translucent.is_some())?;
    let needless = plan.wall.is_some() || cut.is_empty();
    (!needless).then(|| Warning {
        about: Concern::WallUnknown,
        region: None,
        first_layer: 0,
        last_layer: cut.len() - 1,
        text: format!(
            "Light shines through '{}', and the plan has no wall thickness, so colours are those \
             of thick plastic. Write wall: (thickness_mm: …) in the plan.",
            spool.name
        ),
    })
}

/// All warnings, the ones about the whole part first.
pub(super) fn of(
    painted: &Painted,
    cut: &[layers::Layer],
    apportioned: &[Apportioned],
    layers: &[Layer],
    areas: &[f64],
) -> Vec<Warning> {
    let mut found = Vec::new();
    found.extend(open_mesh(cut));
    found.extend(wall_unknown(painted.plan(), cut));
    found.extend(layer_height(painted, cut));
    for (region, &area) in areas.iter().enumerate() {
        let about = |about, range: Range, text| Warning {
            about,
            region: Some(region),
            first_layer: range.first,
            last_layer: range.last,
            text,
        };
        let Some(planned) = painted.plan().regions.get(region) else {
            continue;
        };
        let name = &planned.name;
        let no_layer = no_layer(name, region, area, layers);
        if let Some(text) = no_layer.or_else(|| no_skin(planned, area)) {
            let all = Range {
                first: 0,
                last: layers.len().saturating_sub(1),
                count: layers.len(),
            };
            found.push(about(Concern::NoLayer, all, text));
            continue;
        }
        let lost = |f: &Apportioned| -> f64 {
            let of_region = f.too_small.iter().filter(|(r, _)| *r == region);
            of_region.map(|(_, area)| area).sum()
        };
        let small = Range::of(having(apportioned, |f| lost(f) > 0.0));
        let all_lost: f64 = apportioned.iter().map(lost).sum();
        if let Some(range) = small.filter(|_| all_lost > TIPS * area) {
            let text = format!(
                "Region '{name}', {}: it is smaller than a dot of the nozzle's width, so it is \
                 left out there. Make it larger.",
                range.words(cut)
            );
            found.push(about(Concern::TooSmall, range, text));
        }
        let width = painted.plan().machine.nozzle_mm;
        let narrow = having(apportioned, |f| {
            f.narrowest.iter().any(|&(r, w)| r == region && w < width)
        });
        let in_layers = layers
            .iter()
            .filter(|l| l.doses.iter().any(|d| d.region == region));
        let few = TIPS * in_layers.count() as f64;
        if let Some(range) = Range::of(narrow).filter(|r| r.count as f64 > few) {
            let text = format!(
                "Region '{name}', {}: a stretch of it is narrower than the nozzle ({width} mm) \
                 and may not show. Make it wider.",
                range.words(cut)
            );
            found.push(about(Concern::TooNarrow, range, text));
        }
        if let Some(text) = fine_details(painted, region) {
            let used = layers.iter().enumerate();
            let used = used.filter(|(_, l)| l.doses.iter().any(|d| d.region == region));
            if let Some(range) = Range::of(used.map(|(i, _)| i)) {
                found.push(about(Concern::FineDetails, range, text));
            }
        }
        if let Some((range, text)) = coarse_fade(painted, region, cut, layers) {
            found.push(about(Concern::CoarseFade, range, text));
        }
        if let Some((range, text)) = limits(painted, name, region, cut, layers) {
            found.push(about(Concern::Limits, range, text));
        }
    }
    found
}

fn having<'a>(
    apportioned: &'a [Apportioned],
    is: impl Fn(&Apportioned) -> bool + 'a,
) -> impl Iterator<Item = usize> + 'a {
    let layers = apportioned.iter().enumerate();
    layers.filter(move |(_, f)| is(f)).map(|(i, _)| i)
}

fn open_mesh(cut: &[layers::Layer]) -> Option<Warning> {
    let open = cut.iter().enumerate().filter(|(_, l)| l.open_ends > 0);
    let range = Range::of(open.map(|(i, _)| i))?;
    Some(Warning {
        about: Concern::OpenMesh,
        region: None,
        first_layer: range.first,
        last_layer: range.last,
        text: format!(
            "The mesh is open or has flipped facets in {}; volumes there are estimates. Mend the \
             mesh.",
            range.words(cut)
        ),
    })
}

fn layer_height(painted: &Painted, cut: &[layers::Layer]) -> Option<Warning> {
    let machine = &painted.plan().machine;
    let (least, most) = (machine.least_layer_mm, machine.most_layer_mm);
    // The top layer may be cut short, and rounding is no matter.
    let full = cut.split_last().map_or(cut, |(_, rest)| rest);
    let heights = full.iter().map(|l| l.span.height_mm()).enumerate();
    let odd = heights.filter(|(_, h)| *h < least - 1e-6 || *h > most + 1e-6);
    let range = Range::of(odd.map(|(i, _)| i))?;
    Some(Warning {
        about: Concern::LayerHeight,
        region: None,
        first_layer: range.first,
        last_layer: range.last,
        text: format!(
            "{}: layers thinner than {least} mm or thicker than {most} mm, which the machine does \
             not print well. Change the layer heights, or the machine file if its limits are too \
             narrow.",
            range.words(cut)
        ),
    })
}

fn no_layer(name: &str, region: usize, area: f64, layers: &[Layer]) -> Option<String> {
    let mut doses = layers.iter().flat_map(|l| &l.doses);
    if area < LEAST_AREA_MM2 || doses.any(|d| d.region == region) {
        return None;
    }
    Some(format!(
        "Region '{name}' has {area:.1} mm² of skin, but no layer is printed in its blend: it \
         lies between the middles of two layers, or is too small. Make it at least one layer \
         high and one line wide."
    ))
}

/// A region that is meant to cover something and does not.
fn no_skin(region: &Region, area: f64) -> Option<String> {
    let meant = !region.hidden && (!region.mask.is_nothing() || !region.brush.is_empty());
    (meant && area <= 0.0).then(|| {
        format!(
            "Region '{}' covers no skin: its mask misses the part, or regions above cover all of \
             it. Masks use the part's coordinates on the bed; `tintfall inspect` says how to \
             convert the file's.",
            region.name
        )
    })
}

/// A fade along the height has one blend a layer, so its steps are the layers: where they are
/// larger than the plan allows, only another fade or other layers help.
fn coarse_fade(
    painted: &Painted,
    region: usize,
    cut: &[layers::Layer],
    layers: &[Layer],
) -> Option<(Range, String)> {
    let planned = painted.plan().regions.get(region)?;
    let Paint::Fade { along, fade } = &planned.paint else {
        return None;
    };
    if !along.depends_on_height_only() {
        return None;
    }
    let bound = painted.plan().step_de00;
    let lab = |layer: &Layer| {
        let mut doses = layer.doses.iter().filter(|d| d.region == region);
        doses.next().map(|dose| dose.lab)
    };
    let steps = layers.windows(2).enumerate().filter_map(|(below, pair)| {
        let step = ciede2000(lab(&pair[0])?, lab(&pair[1])?);
        (step > bound).then_some((below, step))
    });
    let steps: Vec<(usize, f64)> = steps.collect();
    let worst = steps.iter().map(|(_, step)| *step).fold(0.0, f64::max);
    let range = Range::of(steps.iter().flat_map(|&(below, _)| [below, below + 1]))?;
    let advice = match fade.spacing {
        Spacing::Linear => "Set its spacing to EqualSteps, spread it over more height",
        _ => "Spread it over more height",
    };
    let (low, high) = (cut.get(range.first)?, cut.get(range.last)?);
    let text = format!(
        "Region '{}', {:.2} to {:.2} mm high: the fade changes by up to ΔE00 {worst:.1} from one \
         layer to the next, more than step_de00 ({bound}). {advice}, or print thinner layers.",
        planned.name, low.span.bottom_mm, high.span.top_mm
    );
    Some((range, text))
}

/// Blends that the machine feeds otherwise than asked.
fn limits(
    painted: &Painted,
    name: &str,
    region: usize,
    cut: &[layers::Layer],
    layers: &[Layer],
) -> Option<(Range, String)> {
    let machine = &painted.plan().machine;
    let mut worst: Option<(f64, Shares, Shares)> = None;
    let mut seen: Vec<(Shares, f64)> = Vec::new();
    let missed = layers.iter().enumerate().filter(|(_, layer)| {
        let doses = layer.doses.iter().filter(|d| d.region == region);
        doses.fold(false, |any, dose| {
            // Neighbouring layers mostly ask for the same blend.
            let known = seen.last().filter(|(shares, _)| *shares == dose.shares);
            let fed = machine.fed(&dose.shares);
            let miss = match known {
                Some(&(_, miss)) => miss,
                None => ciede2000(painted.model().mix(&fed).to_lab(), dose.lab),
            };
            seen.push((dose.shares, miss));
            if miss >= WORTH_A_WORD_DE00 && worst.is_none_or(|(w, ..)| miss > w) {
                worst = Some((miss, dose.shares, fed));
            }
            any || miss >= WORTH_A_WORD_DE00
        })
    });
    let range = Range::of(missed.map(|(i, _)| i).collect::<Vec<_>>())?;
    let (miss, asked, fed) = worst?;
    let text = format!(
        "Region '{name}', {}: the machine can't feed the requested blend (least share {} %, steps \
         of {} %). At worst it feeds {fed} in place of {asked}, a difference of ΔE00 {miss:.1}.",
        range.words(cut),
        percent(machine.least_share),
        percent(machine.share_step),
    );
    Some((range, text))
}

fn percent(share: f64) -> f64 {
    (share * 1e4).round() / 100.0
}
