//! What would save plastic, and how much.

use blend::{MixModel, ciede2000};
use serde::{Deserialize, Serialize};

use super::{Purpose, Waste, lay_out_as};
use crate::document::{Laying, SharedLayers};
use crate::schedule::Schedule;
use crate::{Machine, Plan};

/// A saving smaller than this is not worth a word, g.
const WORTH_A_WORD_G: f64 = 0.05;

/// Something that would cut the waste.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Suggestion {
    /// What to do and what it costs, in a sentence or two.
    pub text: String,
    /// The waste that it saves, g.
    pub saves_g: f64,
}

/// What would cut the waste of a plan, the greatest saving first. Each saving is worked out by
/// laying the part out anew, but for those whose text says "about".
pub fn suggestions(plan: &Plan, model: &dyn MixModel, schedule: &Schedule) -> Vec<Suggestion> {
    let now = waste(plan, &plan.machine, &plan.laying, model, schedule);
    if now.mass_g < WORTH_A_WORD_G {
        return Vec::new();
    }
    let saved = |machine: &Machine, laying: &Laying, schedule: &Schedule| {
        now.mass_g - waste(plan, machine, laying, model, schedule).mass_g
    };
    let mut found = vec![
        one_blend(plan, model, schedule, now.mass_g),
        Suggestion {
            text: "Print two parts at once: each change then serves both, so each has about half \
                   of the waste."
                .to_owned(),
            saves_g: now.mass_g / 2.0,
        },
    ];
    let mut eased = plan.machine.value.clone();
    eased.flush.allowed_de00 *= 2.0;
    found.push(Suggestion {
        text: format!(
            "Allow a blend to be off by ΔE00 {} instead of {} when its region begins (machine \
             file, flush: allowed_de00).",
            eased.flush.allowed_de00, plan.machine.flush.allowed_de00
        ),
        saves_g: saved(&eased, &plan.laying, schedule),
    });
    if !plan.machine.flush.inside_first {
        let mut inside = plan.machine.value.clone();
        inside.flush.inside_first = true;
        found.push(Suggestion {
            text: "Flush inside the part first (machine file, flush: inside_first).".to_owned(),
            saves_g: saved(&inside, &plan.laying, schedule),
        });
    }
    if !plan.laying.lead {
        let lead = Laying {
            lead: true,
            ..plan.laying
        };
        found.push(Suggestion {
            text: "Send changes ahead of their place (laying: lead).".to_owned(),
            saves_g: saved(&plan.machine, &lead, schedule),
        });
    }
    found.extend(thicker(plan, now.mass_g));
    found.extend(without_a_region(plan, model, schedule, now.mass_g));
    found.retain(|s| s.saves_g >= WORTH_A_WORD_G);
    found.sort_by(|a, b| b.saves_g.total_cmp(&a.saves_g));
    found
}

fn waste(
    plan: &Plan,
    machine: &Machine,
    laying: &Laying,
    model: &dyn MixModel,
    schedule: &Schedule,
) -> Waste {
    Waste::of(&lay_out_as(machine, laying, model, schedule), plan)
}

/// One blend a layer: no waste, but some regions are off.
fn one_blend(plan: &Plan, model: &dyn MixModel, schedule: &Schedule, now_g: f64) -> Suggestion {
    let laying = Laying {
        shared_layers: SharedLayers::OneBlend,
        ..plan.laying
    };
    let extrusion = lay_out_as(&plan.machine, &laying, model, schedule);
    let (mut area, mut sum) = (0.0, 0.0);
    for stretch in &extrusion.stretches {
        if let Purpose::Skin {
            area_mm2,
            asked,
            aim,
            ..
        } = &stretch.purpose
            && asked != aim
        {
            let off = ciede2000(model.mix(asked).to_lab(), model.mix(aim).to_lab());
            area += area_mm2;
            sum += area_mm2 * off;
        }
    }
    let mean = if area > 0.0 { sum / area } else { 0.0 };
    Suggestion {
        text: format!(
            "Give each layer one blend (laying: shared_layers: OneBlend). {:.0} mm² of the surface \
             would then be off by a mean ΔE00 of {mean:.1}.",
            area
        ),
        saves_g: now_g - Waste::of(&extrusion, plan).mass_g,
    }
}

/// Fewer layers have fewer changes.
fn thicker(plan: &Plan, now_g: f64) -> Option<Suggestion> {
    let (now, most) = (plan.layers.layer_mm, plan.machine.most_layer_mm);
    (most > now * 1.05).then(|| Suggestion {
        text: format!(
            "Print layers of {most} mm instead of {now} mm: the part then needs fewer changes."
        ),
        saves_g: now_g * (1.0 - now / most),
    })
}

/// The region whose leaving out saves most.
fn without_a_region(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    now_g: f64,
) -> Option<Suggestion> {
    (1..plan.regions.len())
        .filter(|&region| !plan.regions[region].hidden)
        .map(|region| {
            let rest = without(schedule, region);
            let left = waste(plan, &plan.machine, &plan.laying, model, &rest);
            Suggestion {
                text: format!(
                    "Leave out region '{}', or spread it over fewer layers.",
                    plan.regions[region].name
                ),
                saves_g: now_g - left.mass_g,
            }
        })
        .max_by(|a, b| a.saves_g.total_cmp(&b.saves_g))
}

/// The schedule with a region's doses gone to the largest other dose of their layers.
fn without(schedule: &Schedule, region: usize) -> Schedule {
    let mut rest = schedule.clone();
    for layer in &mut rest.layers {
        let gone: f64 = layer
            .doses
            .iter()
            .filter(|d| d.region == region)
            .map(|d| d.volume_mm3)
            .sum();
        if layer.doses.iter().all(|d| d.region == region) {
            continue;
        }
        layer.doses.retain(|d| d.region != region);
        let main = layer
            .doses
            .iter_mut()
            .max_by(|a, b| a.volume_mm3.total_cmp(&b.volume_mm3));
        if let Some(main) = main {
            main.volume_mm3 += gone;
        }
    }
    rest
}
