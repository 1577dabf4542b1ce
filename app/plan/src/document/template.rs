//! A sensible first plan for a part.

use blend::{Fade, Shares, Spacing, Spool, SpoolColour, Srgb, Stop};
use geometry::{Field, LayerPlan, Mask};

use super::{Filling, Laying, MeshSource, Paint, Plan, Region, step_seen_at_a_glance, three_walls};
use crate::Machine;

/// What has to be known of a part to write its first plan.
#[derive(Clone, Debug, PartialEq)]
pub struct FirstPlan {
    /// The mesh file, relative to the plan's folder.
    pub mesh: MeshSource,
    /// What the part is.
    pub title: String,
    /// Its height on the bed, mm.
    pub height_mm: f64,
}

impl Plan {
    /// Two spools and one fade from the bed to the top: a plan that can be printed as it is
    /// and shows what there is to change.
    pub fn first(part: FirstPlan) -> Self {
        let height = if part.height_mm.is_finite() && part.height_mm > 0.0 {
            part.height_mm
        } else {
            1.0
        };
        // Rounded to hundredths, as a person would write it, but never to 0.
        let top = ((height * 100.0).round() / 100.0).max(0.01);
        let stops = [(0.0, 0), (top, 1)].into_iter();
        let stops = stops.filter_map(|(at_mm, component)| {
            Some(Stop {
                at_mm,
                shares: Shares::pure(component, 2)?,
            })
        });
        Self {
            version: Self::VERSION,
            title: part.title,
            mesh: part.mesh,
            spools: vec![
                Spool::new("Deep blue", SpoolColour::Hex(Srgb([0x1f, 0x4e, 0x8c]))),
                Spool::new("Warm white", SpoolColour::Hex(Srgb([0xf2, 0xec, 0xdc]))),
            ]
            .into(),
            machine: Machine::default().into(),
            layers: LayerPlan {
                first_layer_mm: 0.2,
                layer_mm: 0.2,
                changes: Vec::new(),
            },
            skin_mm: three_walls(),
            wall: None,
            step_de00: step_seen_at_a_glance(),
            filling: Filling::default(),
            laying: Laying::default(),
            blends: Vec::new(),
            regions: vec![Region::new(
                "Whole part",
                Mask::Whole,
                Paint::Fade {
                    along: Field::Height,
                    fade: Fade {
                        stops: stops.collect(),
                        spacing: Spacing::Linear,
                    },
                },
            )],
        }
    }
}
