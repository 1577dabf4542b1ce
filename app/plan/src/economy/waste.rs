//! What is flushed away.

use blend::Shares;
use serde::{Deserialize, Serialize};

use super::{Extrusion, Purpose};
use crate::Plan;

/// What is flushed away, and what is flushed inside the part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Waste {
    /// Volume flushed away, mm³.
    pub volume_mm3: f64,
    /// Its mass, g.
    pub mass_g: f64,
    /// Filament that goes into it, m.
    pub length_m: f64,
    /// Minutes that it takes at the usual flow, without the way to where it is put.
    pub minutes: f64,
    /// Its volume over the part's.
    pub ratio: f64,
    /// How often plastic is flushed away.
    pub flushes: usize,
    /// Volume flushed inside the part, where it costs nothing, mm³.
    pub inside_mm3: f64,
}

impl Waste {
    /// Counts up the waste of an extrusion. What is flushed is taken to be the blend that it is
    /// flushed for.
    pub fn of(extrusion: &Extrusion, plan: &Plan) -> Self {
        let mut waste = Self::default();
        let mut part_mm3 = 0.0;
        let stretches = &extrusion.stretches;
        for (i, stretch) in stretches.iter().enumerate() {
            let volume = stretch.volume_mm3;
            let next = stretches[i..].iter().find_map(aim);
            match stretch.purpose {
                Purpose::Skin { .. } => part_mm3 += volume,
                Purpose::Inside => {
                    part_mm3 += volume;
                    let in_layer = stretches
                        .get(i + 1)
                        .is_some_and(|s| s.layer == stretch.layer);
                    if in_layer {
                        waste.inside_mm3 += volume;
                    }
                }
                Purpose::Waste => {
                    waste.volume_mm3 += volume;
                    waste.flushes += 1;
                    if let Some(blend) = next {
                        let parts = plan.spools.iter().zip(blend.as_slice());
                        for (spool, share) in parts {
                            waste.mass_g += spool.mass_g(volume * share);
                            waste.length_m += spool.length_mm(volume * share) / 1000.0;
                        }
                    }
                }
            }
        }
        waste.minutes = plan.machine.minutes(waste.volume_mm3);
        waste.ratio = if part_mm3 > 0.0 {
            waste.volume_mm3 / part_mm3
        } else {
            0.0
        };
        waste
    }
}

fn aim(stretch: &super::Stretch) -> Option<Shares> {
    match &stretch.purpose {
        Purpose::Skin { aim, .. } => Some(*aim),
        _ => None,
    }
}
