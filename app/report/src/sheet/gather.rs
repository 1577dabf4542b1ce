//! From a painted part and its schedule to what the sheet says.

use std::collections::BTreeSet;

use blend::{Fade, MixModel, Ramp, Shares, Srgb};
use geometry::LayerPlan;
use plan::delivery::DeliveredLayer;
use plan::schedule::{Layer, Provenance, Totals};
use plan::{AsPrinted, Machine, Paint, Painted, Region, Schedule};

use super::facts::{ColourShare, Column, Fact, Facts, Heights, Mark, RegionFact, Slice, SpoolFact};
use crate::amount::amount;
use crate::print_quality::{self, Outcome};
use project::cautions;

/// Samples of a fade's colours for its swatch.
const SAMPLES: usize = 48;
/// How much of a hash is shown: enough to tell two plans of one part apart.
const HASH: usize = 16;

impl Facts {
    /// Gathers the facts of a part and its schedule; `notes` are worth knowing about the
    /// mesh.
    pub fn of(
        painted: &Painted,
        schedule: &Schedule,
        printed: &AsPrinted,
        notes: &[String],
    ) -> Self {
        let from = &schedule.provenance;
        let totals = &schedule.totals;
        let warnings = schedule.warnings.iter().chain(&printed.warnings);
        let warnings = plan::schedule::told(warnings);
        let savings = printed.suggestions.iter();
        let savings = savings.map(|s| Fact::new(&s.text, format!("saves {} g", amount(s.saves_g))));
        let offer = printed.jump_offer.iter();
        let offer = offer.map(|o| Fact::new(&o.text, format!("costs {} g", amount(o.costs_g))));
        Self {
            title: title(from),
            subtitle: subtitle(painted, totals),
            stamp: vec![
                "colours as requested and as printed".to_owned(),
                format!("plan {}", short(&from.plan_sha256)),
            ],
            spools: spools(painted, totals),
            regions: regions(painted, totals),
            heights: heights(&painted.plan().machine, schedule, printed),
            totals: total_lines(totals),
            outcome: outcome_lines(printed),
            savings: offer.chain(savings).collect(),
            provenance: provenance(from),
            warnings: notes.iter().cloned().chain(warnings).collect(),
            cautions: cautions::SHORT.iter().map(|c| (*c).to_owned()).collect(),
        }
    }
}

/// The plan's title, or the mesh's name for a plan without one.
fn title(from: &Provenance) -> String {
    match from.title.trim() {
        "" => from.mesh_file.clone(),
        title => title.to_owned(),
    }
}

fn short(hash: &str) -> String {
    hash.chars().take(HASH).collect()
}

fn provenance(from: &Provenance) -> Vec<Fact> {
    let mesh = format!("{}, SHA-256 {}", from.mesh_file, short(&from.mesh_sha256));
    vec![
        Fact::new("Plan", format!("SHA-256 {}", short(&from.plan_sha256))),
        Fact::new("Mesh", mesh),
        Fact::new("Colours", &from.model),
        Fact::new("Machine", &from.machine),
        Fact::new("Route", &from.route),
        Fact::new(
            "Filament",
            "length by the round cross-section πd²/4, mass by each spool's density",
        ),
        Fact::new("Made by", &from.made_by),
        Fact::new("Review", &from.review),
    ]
}

fn subtitle(painted: &Painted, totals: &Totals) -> String {
    let (lo, hi) = painted.surface().bounds_mm();
    let size = hi - lo;
    let layers = layers(&painted.plan().layers);
    let count = grouped(totals.layers);
    format!(
        "{:.1} × {:.1} × {:.1} mm   ·   {count} layers, {layers}",
        size.x, size.y, size.z
    )
}

fn layers(plan: &LayerPlan) -> String {
    let rest = match plan.changes.is_empty() {
        true => format!("{} mm", plan.layer_mm),
        false => format!("{} mm, with changes", plan.layer_mm),
    };
    match plan.first_layer_mm == plan.layer_mm {
        true => rest,
        false => format!("the first {} mm, then {rest}", plan.first_layer_mm),
    }
}

fn spools(painted: &Painted, totals: &Totals) -> Vec<SpoolFact> {
    let all = totals.volume_mm3.max(1e-12);
    let spools = painted.plan().spools.iter().zip(&totals.spools);
    spools
        .map(|(spool, total)| SpoolFact {
            name: spool.name.clone(),
            colour: spool.xyz().to_srgb(),
            mass_g: total.mass_g,
            length_m: total.length_m,
            share: total.volume_mm3 / all,
        })
        .collect()
}

fn regions(painted: &Painted, totals: &Totals) -> Vec<RegionFact> {
    let all = totals.area_mm2.max(1e-12);
    let model = painted.model();
    let regions = painted.plan().regions.iter().zip(&totals.regions);
    regions
        .enumerate()
        // The base covers everything, hidden or not.
        .filter(|(i, (region, _))| *i == 0 || !region.hidden)
        .map(|(_, (region, total))| RegionFact {
            name: region.name.clone(),
            shades: shades(region, model),
            blend: blend(region),
            area_share: total.area_mm2 / all,
            uncertainty: uncertainty(region, model),
        })
        .collect()
}

/// A region's colours from its first stop to its last; for a fade by visible area, as if the
/// area were even, which shows each shade as wide as its share of the area.
fn shades(region: &Region, model: &dyn MixModel) -> Vec<Srgb> {
    let colour = |shares: &Shares| model.mix(shares).to_srgb();
    let fade = match &region.paint {
        Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => {
            return vec![colour(shares)];
        }
        Paint::Fade { fade, .. } => fade,
    };
    let ramp = Ramp::new(fade, model, None);
    let Some((from, to)) = ramp.extent_mm() else {
        return Vec::new();
    };
    (0..SAMPLES)
        .map(|i| from + (to - from) * i as f64 / (SAMPLES - 1) as f64)
        .map(|at| colour(&ramp.at(at)))
        .collect()
}

/// The largest standard error among a region's stops.
fn uncertainty(region: &Region, model: &dyn MixModel) -> Option<f64> {
    let of = |shares: &Shares| model.uncertainty(shares);
    match &region.paint {
        Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => of(shares),
        Paint::Fade { fade, .. } => stops(fade).filter_map(of).reduce(f64::max),
    }
}

fn stops(fade: &Fade) -> impl Iterator<Item = &Shares> {
    fade.stops.iter().map(|stop| &stop.shares)
}

fn blend(region: &Region) -> String {
    match &region.paint {
        Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => shares.to_string(),
        Paint::Fade { fade, .. } => stops(fade)
            .map(Shares::to_string)
            .collect::<Vec<_>>()
            .join(" to "),
    }
}

fn heights(machine: &Machine, schedule: &Schedule, printed: &AsPrinted) -> Heights {
    let layers = &schedule.layers;
    let names: Vec<&str> = schedule
        .totals
        .regions
        .iter()
        .map(|r| r.name.as_str())
        .collect();
    Heights {
        slices: layers.iter().map(|layer| slice(machine, layer)).collect(),
        columns: vec![
            Column {
                title: "requested".to_owned(),
                slices: layers.iter().map(|l| side_by_side(l, None)).collect(),
            },
            Column {
                title: "printed".to_owned(),
                slices: layers
                    .iter()
                    .zip(&printed.delivery.layers)
                    .map(|(layer, out)| side_by_side(layer, Some(out)))
                    .collect(),
            },
        ],
        marks: marks(layers, &names),
    }
}

fn slice(machine: &Machine, layer: &Layer) -> Slice {
    // Blends that the machine feeds alike are one.
    let fed: Vec<Shares> = layer.doses.iter().map(|d| machine.fed(&d.shares)).collect();
    let new = |(i, blend): (usize, &Shares)| !fed.iter().take(i).any(|b| b == blend);
    Slice {
        bottom_mm: layer.span.bottom_mm,
        top_mm: layer.span.top_mm,
        area_mm2: layer.area_mm2,
        blends: fed.iter().enumerate().filter(|one| new(*one)).count(),
    }
}

/// A layer's colours by their share of its visible area, in the order of the regions so that
/// each stays on its side from layer to layer: those asked for, or those that come out.
fn side_by_side(layer: &Layer, out: Option<&DeliveredLayer>) -> Vec<ColourShare> {
    let area: f64 = layer.doses.iter().map(|d| d.area_mm2).sum();
    let volume: f64 = layer.doses.iter().map(|d| d.volume_mm3).sum();
    let mut doses: Vec<_> = layer.doses.iter().enumerate().collect();
    doses.sort_by_key(|(_, dose)| dose.region);
    let colour = |i: usize, asked: Srgb| match out.and_then(|o| o.doses.get(i)) {
        Some(dose) => dose.srgb,
        None => asked,
    };
    let shade = |colour, share: f64| ColourShare { colour, share };
    doses
        .into_iter()
        .map(|(i, dose)| match area > 0.0 {
            true => shade(colour(i, dose.srgb), dose.area_mm2 / area),
            // A layer that nobody sees: by volume.
            false => shade(colour(i, dose.srgb), dose.volume_mm3 / volume.max(1e-12)),
        })
        .collect()
}

/// Where regions begin and end.
fn marks(layers: &[Layer], names: &[&str]) -> Vec<Mark> {
    let here = |layer: &Layer| -> BTreeSet<usize> {
        let seen = layer.doses.iter().filter(|d| d.area_mm2 > 0.0);
        seen.map(|dose| dose.region).collect()
    };
    layers
        .iter()
        .zip(layers.iter().skip(1))
        .filter_map(|(below, above)| {
            let (before, after) = (here(below), here(above));
            Some(Mark {
                height_mm: above.span.bottom_mm,
                text: change(&before, &after, names)?,
            })
        })
        .collect()
}

fn change(before: &BTreeSet<usize>, after: &BTreeSet<usize>, names: &[&str]) -> Option<String> {
    let joined = |set: &mut dyn Iterator<Item = &usize>| {
        let list: Vec<&str> = set.filter_map(|i| names.get(*i).copied()).collect();
        list.join(", ")
    };
    let ended = joined(&mut before.difference(after));
    let began = joined(&mut after.difference(before));
    match (ended.is_empty(), began.is_empty()) {
        (true, true) => None,
        (false, true) => Some(format!("{ended} up to here")),
        (true, false) => Some(format!("{began} from here")),
        (false, false) => Some(format!("{ended} → {began}")),
    }
}

fn total_lines(totals: &Totals) -> Vec<Fact> {
    let plastic = format!(
        "{} cm³, {} g",
        amount(totals.volume_mm3 / 1000.0),
        amount(totals.spools.iter().map(|s| s.mass_g).sum())
    );
    let laid = match totals.solid_mm3 > 0.0 {
        true => format!(
            "{} % of solid",
            (100.0 * totals.volume_mm3 / totals.solid_mm3).round()
        ),
        false => "not given".to_owned(),
    };
    vec![
        Fact::new("Layers", grouped(totals.layers)),
        Fact::new("Plastic", plastic),
        Fact::new("Filled", laid),
        Fact::new(
            "Visible area",
            format!("{} cm²", amount(totals.area_mm2 / 100.0)),
        ),
        Fact::new("Blend changes", grouped(totals.blend_changes)),
        Fact::new(
            "Layers with several blends",
            grouped(totals.layers_with_changes),
        ),
    ]
}

/// What comes out, in figures.
fn outcome_lines(printed: &AsPrinted) -> Vec<Fact> {
    let Outcome {
        mean_de00,
        p95_de00,
        worst_de00,
        at_their_place_de00,
        how,
        commands,
        waste,
        ..
    } = Outcome::of(printed);
    let flushed = match waste.flushes {
        0 => "nothing".to_owned(),
        _ => format!(
            "{} g, {} m, {:.0} min",
            amount(waste.mass_g),
            amount(waste.length_m),
            waste.minutes
        ),
    };
    vec![
        Fact::new(
            "Off by, on average and at worst",
            format!("ΔE00 {mean_de00:.2}, {worst_de00:.1}"),
        ),
        Fact::new("95 % of the area within", format!("ΔE00 {p95_de00:.1}")),
        Fact::new(
            "On average without compensation",
            format!("ΔE00 {at_their_place_de00:.2}"),
        ),
        Fact::new("Flushed away", flushed),
        Fact::new("against the part", format!("{:.2} times", waste.ratio)),
        Fact::new(
            "Commands",
            format!("{}, {}", grouped(commands), print_quality::how(how)),
        ),
    ]
}

/// A whole number in groups of three digits, as ISO 80000-1 has it: with a narrow space.
fn grouped(number: usize) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_grouped() {
        assert_eq!(grouped(7), "7");
        assert_eq!(grouped(1204), "1 204");
        assert_eq!(grouped(1_234_567), "1 234 567");
    }

    #[test]
    fn changes_are_told_in_words() {
        let names = ["Rock", "Tower", "Door"];
        let set = |list: &[usize]| list.iter().copied().collect::<BTreeSet<usize>>();
        let told = |a: &[usize], b: &[usize]| change(&set(a), &set(b), &names);
        assert_eq!(told(&[0], &[0]), None);
        assert_eq!(told(&[0], &[1]).as_deref(), Some("Rock → Tower"));
        assert_eq!(told(&[0], &[0, 2]).as_deref(), Some("Door from here"));
        assert_eq!(
            told(&[0], &[0, 1, 2]).as_deref(),
            Some("Tower, Door from here")
        );
        assert_eq!(told(&[0, 2], &[0]).as_deref(), Some("Door up to here"));
    }
}
